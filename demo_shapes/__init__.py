"""Invented demonstration shapes, made by seeded code."""

from demo_shapes.head import EarShape, PhantomHead, ear, phantom_head

__all__ = ["EarShape", "PhantomHead", "ear", "phantom_head"]

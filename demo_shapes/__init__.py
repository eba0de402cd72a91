"""Invented demonstration shapes, made by seeded code."""

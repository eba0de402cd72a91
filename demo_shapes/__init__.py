"""Invented demonstration shapes, made by seeded code: a phantom head, its ear, a carved fox, plain solids."""

from demo_shapes.animal import AnimalShape, animal
from demo_shapes.damage import DAMAGE_KINDS, DamagedScan, damage, damaged, refined
from demo_shapes.head import EarShape, PhantomHead, ear, phantom_head
from demo_shapes.plain import PLAIN_NAMES, PlainShape, plain
from demo_shapes.truth import TrueValues

__all__ = [
    "DAMAGE_KINDS",
    "PLAIN_NAMES",
    "AnimalShape",
    "DamagedScan",
    "EarShape",
    "PhantomHead",
    "PlainShape",
    "TrueValues",
    "animal",
    "damage",
    "damaged",
    "ear",
    "phantom_head",
    "plain",
    "refined",
]

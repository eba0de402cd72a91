"""Clamp bolts and pry slots: published sizes, and the bores and pockets that take them."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mirrorprep.errors import UsageError
from mirrorprep.solid.primitives import box, frustum, prism
from mirrorprep.solid.section import Section
from mirrorprep.solid.solid import Solid

FloatArray = NDArray[np.float64]

CLEARANCE_HOLE_MM: Final[dict[str, tuple[float, float, float]]] = {
    "M2": (2.2, 2.4, 2.6),
    "M2.5": (2.7, 2.9, 3.1),
    "M3": (3.2, 3.4, 3.6),
    "M4": (4.3, 4.5, 4.8),
    "M5": (5.3, 5.5, 5.8),
    "M6": (6.4, 6.6, 7.0),
    "M8": (8.4, 9.0, 10.0),
    "M10": (10.5, 11.0, 12.0),
    "M12": (13.0, 13.5, 14.5),
}
"""Clearance holes, fine, medium and coarse series: ISO 273 (three reproductions agree)."""

NUT_MM: Final[dict[str, tuple[float, float]]] = {
    "M2": (4.0, 1.6),
    "M2.5": (5.0, 2.0),
    "M3": (5.5, 2.4),
    "M4": (7.0, 3.2),
    "M5": (8.0, 4.7),
    "M6": (10.0, 5.2),
    "M8": (13.0, 6.8),
    "M10": (16.0, 8.4),
    "M12": (18.0, 10.8),
}
"""Width across flats and greatest height of hexagon nuts: ISO 4032 (four reproductions agree)."""

SCREW_HEAD_MM: Final[dict[str, tuple[float, float]]] = {
    "M2": (3.98, 2.0),
    "M2.5": (4.68, 2.5),
    "M3": (5.68, 3.0),
    "M4": (7.22, 4.0),
    "M5": (8.72, 5.0),
    "M6": (10.22, 6.0),
    "M8": (13.27, 8.0),
    "M10": (16.27, 10.0),
    "M12": (18.27, 12.0),
}
"""Greatest diameter (knurled) and height of socket heads: ISO 4762."""

SCREW_LENGTHS_MM: Final = (
    *(5, 6, 8, 10, 12, 16, 20, 25, 30, 35, 40, 45, 50, 55, 60, 65, 70, 80, 90, 100, 110, 120, 130, 140),
    *(150, 160, 180, 200, 220, 240, 260, 280, 300),
)
"""Usual screw lengths (from memory)."""

POCKET_CLEARANCE_MM: Final = 0.4
"""Added to the width of nut pockets and the diameter of head recesses: common practice, no source."""

PRY_WIDTH_MM: Final = 10.0
PRY_HEIGHT_MM: Final = 2.4
"""Slot for a flat lever, half in each half: common practice, no source."""

_BORE_SEGMENTS: Final = 32


@dataclass(frozen=True, slots=True, kw_only=True)
class BoltSize:
    """The room that one clamp bolt and its nut need.

    Attributes
    ----------
    name : str
        Such as ``M4``.
    bore_mm : float
        Diameter of the clearance hole, medium series.
    nut_flats_mm, nut_corners_mm, nut_height_mm : float
        Width across flats, geometric width across corners (flats / cos 30°) and height of the nut.
    head_mm, head_height_mm : float
        Diameter and height of the screw head.
    """

    name: str
    bore_mm: float
    nut_flats_mm: float
    nut_corners_mm: float
    nut_height_mm: float
    head_mm: float
    head_height_mm: float

    @property
    def reach_mm(self) -> float:
        """Radius of the widest recess around the axis, clearance included."""
        return max(self.nut_corners_mm, self.head_mm) / 2.0 + POCKET_CLEARANCE_MM


def bolt_size(name: str) -> BoltSize:
    """Return the sizes of a bolt.

    Raises
    ------
    UsageError
        If the size is not in the tables.

    Examples
    --------
    >>> bolt_size("M4").bore_mm
    4.5
    >>> round(bolt_size("M4").nut_corners_mm, 3)
    8.083
    """
    if name not in NUT_MM:
        raise UsageError(
            f"'{name}' is not a known bolt size.", remedy=f"Use one of {', '.join(NUT_MM)} or none."
        )
    flats, height = NUT_MM[name]
    head, head_height = SCREW_HEAD_MM[name]
    return BoltSize(
        name=name,
        bore_mm=CLEARANCE_HOLE_MM[name][1],
        nut_flats_mm=flats,
        nut_corners_mm=flats / math.cos(math.radians(30.0)),
        nut_height_mm=height,
        head_mm=head,
        head_height_mm=head_height,
    )


def screw_length_mm(bolt: BoltSize, grip_mm: float) -> float:
    """Return the shortest usual screw that reaches through the grip and the whole nut.

    Examples
    --------
    >>> screw_length_mm(bolt_size("M4"), 12.0)
    16.0
    """
    needed = grip_mm + bolt.nut_height_mm
    usual = [length for length in SCREW_LENGTHS_MM if length >= needed]
    return float(usual[0]) if usual else math.ceil(needed)


def bolt_tools(
    bolt: BoltSize, center_uv: ArrayLike, *, nut_seat_mm: float, head_seat_mm: float, span_mm: Sequence[float]
) -> Solid:
    """Return the body to cut away for one bolt along the pull direction.

    A bore through everything, a round recess above the head's seat and a hexagonal one below the nut's
    seat, both open to the back so that the bolt can be short in a thick mould.

    Parameters
    ----------
    bolt : BoltSize
        From `bolt_size`.
    center_uv : (2,)
        The axis.
    nut_seat_mm, head_seat_mm : float
        Heights at which nut and head bear, the nut below.
    span_mm : (2,)
        Heights below and above all material.
    """
    u, v = np.asarray(center_uv, dtype=np.float64)
    low, high = (float(height) for height in span_mm)
    bore = frustum(
        (u, v, low),
        (u, v, high),
        start_radius_mm=bolt.bore_mm / 2,
        stop_radius_mm=bolt.bore_mm / 2,
        segments=_BORE_SEGMENTS,
    )
    radius = (bolt.head_mm + POCKET_CLEARANCE_MM) / 2
    head = frustum(
        (u, v, head_seat_mm),
        (u, v, high),
        start_radius_mm=radius,
        stop_radius_mm=radius,
        segments=_BORE_SEGMENTS,
    )
    corner = (bolt.nut_flats_mm + POCKET_CLEARANCE_MM) / 2 / math.cos(math.radians(30.0))
    angle = np.radians(60.0 * np.arange(6))
    hexagon = np.column_stack([u + corner * np.cos(angle), v + corner * np.sin(angle)])
    return bore + head + prism(hexagon, low, nut_seat_mm)


def pry_places(plan: Section, taken: Sequence[ArrayLike], *, clear_mm: float) -> list[FloatArray]:
    """Return a place for a lever on each side of the mould's outline, clear of bolts and keys.

    Parameters
    ----------
    plan : Section
        Where the halves meet.
    taken : sequence of (2,)
        Centres of bolts and keys.
    clear_mm : float
        Least distance from them.
    """
    outline = max(plan.loops, key=len)
    steps = np.linspace(0.0, 1.0, 24, endpoint=False)[:, None, None]
    rim = (outline + steps * (np.roll(outline, -1, axis=0) - outline)).reshape(-1, 2)
    (left, bottom), (right, top) = plan.bounds_mm
    ends = 0.15 * (top - bottom)
    rim = rim[(rim[:, 1] > bottom + ends) & (rim[:, 1] < top - ends)]
    places = []
    for side in (rim[rim[:, 0] < (left + right) / 2.0], rim[rim[:, 0] >= (left + right) / 2.0]):
        if len(side) == 0:
            continue
        distance = np.full(len(side), clear_mm)
        if len(taken):
            others = np.array(taken, dtype=np.float64).reshape(-1, 2)
            distance = np.linalg.norm(side[:, None] - others, axis=2).min(axis=1)
        best = int(np.argmax(distance))
        if distance[best] >= clear_mm:
            places.append(side[best])
    return places


def pry_tool(place: ArrayLike, level_mm: float, *, depth_mm: float) -> Solid:
    """Return the body to cut away for a lever at the outer edge of the parting surface."""
    u, v = np.asarray(place, dtype=np.float64)
    return box([2.0 * depth_mm, PRY_WIDTH_MM, PRY_HEIGHT_MM], center_mm=(u, v, level_mm))

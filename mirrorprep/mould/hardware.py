"""Clamp bolts and pry slots: published sizes, and the bores and pockets that take them."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mirrorprep.errors import UsageError
from mirrorprep.solid.primitives import box, frustum, prism
from mirrorprep.solid.section import Section, rectangle
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

PRY_WALL_MM: Final = 2.0
"""Least wall between a slot and a bolt or key: common practice, no source."""

_PRY_CAVITY_WALL_MM: Final = 1.5

BOSS_WALL_MM: Final = 1.4
"""Wall around a nut in its boss; it stays within the edge wall that bolts keep."""

_BORE_SEGMENTS: Final = 32
_BOSS_SEGMENTS: Final = 48


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
    seat, both open to the back so that the bolt can be short in a thick mould. Bore and recess are polygons
    around their circles: nowhere narrower than their diameters.

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
    bore = _round_hole((u, v), bolt.bore_mm, low, high)
    head = _round_hole((u, v), bolt.head_mm + POCKET_CLEARANCE_MM, head_seat_mm, high)
    corner = (bolt.nut_flats_mm + POCKET_CLEARANCE_MM) / 2 / math.cos(math.radians(30.0))
    angle = np.radians(60.0 * np.arange(6))
    hexagon = np.column_stack([u + corner * np.cos(angle), v + corner * np.sin(angle)])
    return bore + head + prism(hexagon, low, nut_seat_mm)


def _round_hole(center: tuple[float, float], diameter_mm: float, low_mm: float, high_mm: float) -> Solid:
    radius = diameter_mm / 2.0 / math.cos(math.pi / _BORE_SEGMENTS)
    return frustum(
        (*center, low_mm),
        (*center, high_mm),
        start_radius_mm=radius,
        stop_radius_mm=radius,
        segments=_BORE_SEGMENTS,
    )


def nut_boss(bolt: BoltSize, center_uv: ArrayLike, *, level_mm: float, nut_seat_mm: float) -> Solid:
    """Return what holds the nut below a thin flange: a round boss as deep as the nut is high.

    Without it the nut would lie on the flange and turn with the bolt.

    Parameters
    ----------
    bolt : BoltSize
        From `bolt_size`.
    center_uv : (2,)
        The axis.
    level_mm, nut_seat_mm : float
        Heights of the parting surface and of the nut's seat below it.
    """
    u, v = np.asarray(center_uv, dtype=np.float64)
    radius = bolt.reach_mm + BOSS_WALL_MM
    return frustum(
        (u, v, nut_seat_mm - bolt.nut_height_mm),
        (u, v, level_mm),
        start_radius_mm=radius,
        stop_radius_mm=radius,
        segments=_BOSS_SEGMENTS,
    )


def pry_places(
    plan: Section, taken: Sequence[tuple[ArrayLike, float]], *, depth_mm: float, keep_off: Section
) -> list[FloatArray]:
    """Return a place for a lever on each side of the mould's outline, clear of bolts, keys and cavity.

    Parameters
    ----------
    plan : Section
        Where the halves meet.
    taken : sequence of (center, radius)
        Bolts and keys.
    depth_mm : float
        How far a slot reaches inward.
    keep_off : Section
        Shadow of cavity and channels.
    """
    reach = np.array([depth_mm, PRY_WIDTH_MM / 2.0]) + _PRY_CAVITY_WALL_MM
    outline = max(plan.loops, key=len)
    steps = np.linspace(0.0, 1.0, 24, endpoint=False)[:, None, None]
    rim = (outline + steps * (np.roll(outline, -1, axis=0) - outline)).reshape(-1, 2)
    (left, bottom), (right, top) = plan.bounds_mm
    ends = max(PRY_WIDTH_MM, 0.15 * (top - bottom))
    rim = rim[(rim[:, 1] > bottom + ends) & (rim[:, 1] < top - ends)]
    places = []
    for side in (rim[rim[:, 0] < (left + right) / 2.0], rim[rim[:, 0] >= (left + right) / 2.0]):
        if len(side) == 0:
            continue
        room = np.full(len(side), PRY_WALL_MM)
        for center, radius in taken:
            beside = np.abs(side - np.asarray(center, dtype=np.float64)) - [depth_mm, PRY_WIDTH_MM / 2.0]
            room = np.minimum(room, np.linalg.norm(np.maximum(beside, 0.0), axis=1) - radius)
        middle = np.abs(side[:, 1] - (bottom + top) / 2.0)
        liked = side[np.lexsort((middle, -room))][: int((room >= PRY_WALL_MM).sum())]
        clear = (place for place in liked if (keep_off & rectangle(place - reach, place + reach)).is_empty)
        places += list(islice(clear, 1))
    return places


def pry_tool(place: ArrayLike, level_mm: float, *, depth_mm: float, outer_u_mm: float) -> Solid:
    """Return the body to cut away for a lever at the outer edge of the parting surface.

    Parameters
    ----------
    place : (2,)
        On the outline of the parting surface.
    level_mm : float
        Height of the parting surface there.
    depth_mm : float
        How far the slot reaches inward from that place.
    outer_u_mm : float
        Beyond the outside on that side, so that the slot is open to the lever.
    """
    u, v = np.asarray(place, dtype=np.float64)
    ends = sorted((float(outer_u_mm), float(u - np.copysign(depth_mm, outer_u_mm - u))))
    low = np.array([ends[0], v - PRY_WIDTH_MM / 2.0, level_mm - PRY_HEIGHT_MM / 2.0])
    high = np.array([ends[1], v + PRY_WIDTH_MM / 2.0, level_mm + PRY_HEIGHT_MM / 2.0])
    return box((high - low).tolist(), center_mm=(low + high) / 2.0)

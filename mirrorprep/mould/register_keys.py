"""Register keys: frustums on one half and sockets in the other, placed so that they close one way only."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mirrorprep.mould.frame import MouldFrame
from mirrorprep.mould.settings import FEWEST_KEYS, MouldSettings
from mirrorprep.solid.primitives import frustum
from mirrorprep.solid.section import Section
from mirrorprep.solid.solid import Solid

FloatArray = NDArray[np.float64]

KEY_DRAFT_DEG = 15.0
"""Taper of the keys per side: they find their sockets and release (common practice, no source)."""

LARGE_KEY = 1.4
"""The first key is larger by at least this factor: the mark that makes a wrong closing impossible."""

_SEGMENTS = 48
_KEY_APART_MM, _MOST_KEYS = 90.0, 12
_TRIAL_POINTS = 3000


@dataclass(frozen=True, slots=True, kw_only=True)
class RegisterKey:
    """One key, on half_b, and its socket in half_a, in mould coordinates.

    Attributes
    ----------
    center_mm : (float, float, float)
        Middle of the base, on the parting surface.
    radius_mm, height_mm : float
        Radius at the parting surface and height over it.
    root_mm : float
        How far the key reaches below its centre, so that it stands on a sloping surface too.
    gap_mm : float
        Clearance all around.
    """

    center_mm: tuple[float, float, float]
    radius_mm: float
    height_mm: float
    root_mm: float
    gap_mm: float

    @property
    def male(self) -> Solid:
        """The key."""
        return self._frustum(0.0)

    @property
    def female(self) -> Solid:
        """What its socket takes away: the key grown by the clearance."""
        return self._frustum(self.gap_mm)

    def _frustum(self, grown: float) -> Solid:
        u, v, w = self.center_mm
        taper = np.tan(np.radians(KEY_DRAFT_DEG))
        top = self.height_mm + grown
        return frustum(
            (u, v, w - self.root_mm),
            (u, v, w + top),
            start_radius_mm=float(self.radius_mm + grown + taper * self.root_mm),
            stop_radius_mm=float(self.radius_mm + grown - taper * top),
            segments=_SEGMENTS,
        )


def spread_places(
    region: Section, count: int, *, taken: Sequence[FloatArray] = (), apart_mm: float
) -> list[FloatArray]:
    """Return up to `count` places in a region, as far from each other and from taken ones as can be.

    Farthest-point sampling on a fixed grid of trial points, then exchanges while they help.

    Parameters
    ----------
    region : Section
        Where the centres may lie.
    count : int
        Places wanted; fewer are returned when the region is too small.
    taken : sequence of (2,)
        Places already used.
    apart_mm : float
        Least distance between any two centres.
    """
    trials = _trial_points(region)
    if len(trials) == 0 or count == 0:
        return []
    middle = region.bounds_mm.mean(axis=0)
    chosen: list[int] = []
    others = np.array(taken, dtype=np.float64).reshape(-1, 2)
    for _ in range(count):
        place = _farthest(trials, np.vstack([others, trials[chosen]]), middle, apart_mm)
        if place is None:
            break
        chosen.append(place)
    for _ in range(3):
        for i in range(len(chosen)):
            rest = chosen[:i] + chosen[i + 1 :]
            place = _farthest(trials, np.vstack([others, trials[rest]]), middle, apart_mm)
            if place is not None:
                chosen[i] = place
    return [trials[i] for i in chosen]


def _farthest(trials: FloatArray, used: FloatArray, middle: FloatArray, apart_mm: float) -> int | None:
    if len(used) == 0:
        return int(np.argmax(np.linalg.norm(trials - middle, axis=1)))
    distance = np.linalg.norm(trials[:, None] - used[None], axis=2).min(axis=1)
    best = int(np.argmax(distance))
    return best if distance[best] >= apart_mm else None


def _trial_points(region: Section) -> FloatArray:
    if region.is_empty:
        return np.zeros((0, 2))
    low, high = region.bounds_mm
    step = max(float(np.sqrt(np.prod(high - low) / _TRIAL_POINTS)), 0.25)
    u, v = (np.arange(a, b + step, step) for a, b in zip(low, high, strict=True))
    points = np.stack(np.meshgrid(u, v, indexing="ij"), axis=-1).reshape(-1, 2)
    return points[region.contains(points)]


def keys_for_edge(length_mm: float) -> int:
    """Return how many register keys an edge of some length takes: one for each 90 mm, from 4 to 12.

    Common practice, no source.

    Examples
    --------
    >>> keys_for_edge(250.0), keys_for_edge(600.0)
    (4, 7)
    """
    return int(np.clip(np.ceil(length_mm / _KEY_APART_MM), FEWEST_KEYS, _MOST_KEYS))


def key_places(
    region: Section, settings: MouldSettings, *, taken: Sequence[FloatArray] = ()
) -> tuple[list[FloatArray], list[float]]:
    """Return centres and radii of the register keys, the large one first.

    Parameters
    ----------
    region : Section
        Free area of the parting surface in mould coordinates: inside the outer edge, clear of cavity and
        channels. Walls around the keys are kept here.
    settings : MouldSettings
        Count, diameter, clearance.
    taken : sequence of (2,)
        Centres of bolts.

    Returns
    -------
    centers : list of (2,)
        Fewer than asked for when the region is small; never just one.
    radii_mm : list of float
        At the parting surface.
    """
    if settings.keys_asked == 0:
        return [], []
    radius, big = settings.key_diameter_mm / 2.0, large_radius_mm(settings)
    wall = settings.key_gap_mm + 1.2
    large = spread_places(region.offset(-(big + wall)), 1, taken=taken, apart_mm=0.0)
    apart = big + radius + 2.0 * wall
    room = region.offset(-(radius + wall))
    small = spread_places(room, settings.keys_asked - 1, taken=[*taken, *large], apart_mm=apart)
    if not large or not small:
        return [], []
    return [*large, *small], [big, *(radius for _ in small)]


def large_radius_mm(settings: MouldSettings) -> float:
    """Return the radius of the large key: its top is as wide as the mouth of a small key's socket, or wider.

    Examples
    --------
    >>> large_radius_mm(MouldSettings(key_diameter_mm=10.0))
    7.0
    """
    radius = settings.key_diameter_mm / 2.0
    taper = float(np.tan(np.radians(KEY_DRAFT_DEG))) * settings.key_height_mm
    return max(LARGE_KEY * radius, radius + settings.key_gap_mm + taper)


def register_key(
    place: FloatArray, radius_mm: float, frame: MouldFrame, settings: MouldSettings
) -> RegisterKey:
    """Return the key that stands at a place of the parting surface."""
    angle = np.linspace(0.0, 2.0 * np.pi, 16, endpoint=False)
    rim = place + radius_mm * np.column_stack([np.cos(angle), np.sin(angle)])
    middle = float(frame.height_mm(place)[0])
    sag = middle - float(frame.height_mm(rim).min())
    return RegisterKey(
        center_mm=(float(place[0]), float(place[1]), middle),
        radius_mm=radius_mm,
        height_mm=settings.key_height_mm,
        root_mm=max(sag, 0.0) + 1.0,
        gap_mm=settings.key_gap_mm,
    )


def wrong_closing_mm(keys: Sequence[RegisterKey]) -> float:
    """Return how far the halves stay apart, at least, when they are closed turned about the pull.

    Every closing is tried that sets the large key over some socket and the next key in line with another
    socket, but for the right one. A key enters a socket until their tapered walls touch; one that meets none
    stands off by its height. 0 means that a wrong closing shuts; infinity that there are no two keys.

    Parameters
    ----------
    keys : sequence of RegisterKey
        The large one first, as `key_places` orders them.

    Examples
    --------
    >>> corners = [(-20.0, -10.0), (20.0, -10.0), (20.0, 10.0), (-20.0, 10.0)]
    >>> equal = [
    ...     RegisterKey(center_mm=(u, v, 0.0), radius_mm=3.0, height_mm=3.0, root_mm=1.0, gap_mm=0.3)
    ...     for u, v in corners
    ... ]
    >>> wrong_closing_mm(equal)
    0.0
    """
    if len(keys) < 2:
        return float("inf")
    places = np.array([key.center_mm[:2] for key in keys])
    line = places[1] - places[0]
    least = float("inf")
    for socket in range(len(keys)):
        for other in np.delete(places, socket, axis=0) - places[socket]:
            turn = float(np.arctan2(other[1], other[0]) - np.arctan2(line[1], line[0]))
            turned = (places - places[0]) @ _turn(turn).T + places[socket]
            if np.linalg.norm(turned - places, axis=1).max() > keys[0].radius_mm:
                least = min(least, _standoff_mm(turned, keys))
    return least


def _turn(angle: float) -> FloatArray:
    return np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])


def _standoff_mm(turned: FloatArray, keys: Sequence[RegisterKey]) -> float:
    """Return how far keys at turned places hold the halves apart."""
    places = np.array([key.center_mm[:2] for key in keys])
    radius = np.array([key.radius_mm for key in keys])
    beside = np.linalg.norm(turned[:, None] - places[None], axis=2)
    tight = radius[:, None] + beside - radius[None, :] - keys[0].gap_mm
    stand = np.clip(tight / np.tan(np.radians(KEY_DRAFT_DEG)), 0.0, keys[0].height_mm)
    return float(stand.min(axis=1).max())

"""The ear of the phantom: a relief drawn by feature lines, rimmed by a rolled helix.

Ear frame, in mm: p to the back, s up along the ear, w out from the skin; the skin is near w = 0 and the
origin lies in front of the ear canal.
"""

from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RBFInterpolator
from scipy.ndimage import gaussian_filter, grey_erosion, map_coordinates, spline_filter
from scipy.spatial import KDTree

from demo_shapes.curves import Tube, spline
from demo_shapes.fields import ellipsoid, rotation, soft_max, soft_min

FloatArray = NDArray[np.float64]

_LOW = np.array([-16.0, -40.0])
_STEP = 0.25
_COUNT = (240, 360)
_THICKNESS = 2.7

# Feature lines (p, s, w): what a modeller would draw first.
_LINES: dict[str, list[tuple[float, float, float]]] = {
    "scapha": [
        (2.5, 27.5, 8.8), (9, 30.3, 9.8), (15.5, 29.8, 10.8), (21.5, 26.2, 11.8), (25.6, 20, 12.8),
        (27, 12.5, 13.3), (26.4, 4.5, 13.0), (24.3, -3.5, 12.4), (21, -10.5, 11.8),
    ],
    "antihelix": [
        (15.6, -11.2, 13.8), (19, -6.5, 15.2), (21.6, 0, 16.6), (22, 6.5, 17.2), (21, 12.5, 16.9),
        (19.6, 18, 15.6), (17.4, 23, 14.0), (14.8, 27.0, 12.2),
    ],
    "inferior crus": [(18, 15.2, 15.4), (13, 17, 13.2), (7.5, 17.9, 11.0), (2, 17.8, 9.0)],
    "triangular fossa": [(15, 20.3, 11.4), (10.5, 22.3, 9.0), (5.5, 23.4, 7.8), (1.5, 22.8, 7.6)],
    "cymba": [(3.5, 12.8, 4.8), (8, 12.6, 4.0), (12, 11.8, 3.8), (15.5, 9.5, 4.2)],
    "crus helicis": [(14, 4.2, 4.2), (9, 5.4, 5.0), (5, 6.8, 5.8), (1.5, 8.8, 6.6)],
    "cavum": [(3.5, -2, 1.6), (7, -4.5, 1.2), (11, -4, 1.4), (14.5, -1.5, 2.4), (11, 0.5, 2.2), (6.5, 1.5, 2.4)],
    "wall foot": [(17.2, 9.2, 6.8), (18, 5, 6.5), (18.0, 0.5, 6.0), (16, -5, 5.5), (12, -8, 4.6)],
    "antitragus": [(12.6, -12.4, 12.6)],
    "notch": [(8.5, -8.6, 3.2), (7, -10.8, 4.6), (6.2, -13.2, 5.6)],
    "lobule": [
        (5, -17, 6.6), (9.5, -16.8, 8.6), (14, -16, 10.0), (17.0, -15.2, 11.0), (14, -19.5, 9.6), (10, -21.0, 8.2),
        (6, -22, 6.8), (8, -26.5, 6.8), (12, -26, 7.6),
    ],
    "front": [
        (-4, -14, 1.5), (-4, -6, 2.0), (-4, 2, 2.6), (-5, 10, 4.2), (-6, 18, 5.6), (-5, 27, 7.2), (0, 33, 9.2),
        (0, -10, 3.4), (1, -24, 4.0),
    ],
}
_OUTLINE = [
    (-3, 6), (-4, 14), (-4.2, 21), (-2, 27.5), (3, 32), (9.5, 34.6), (16.5, 34.2), (23, 30.8), (28, 24.6),
    (30.2, 16.8), (30.3, 8.5), (28.8, 0.3), (26, -7.2), (22.3, -14), (19.2, -19), (15.2, -23.6), (10, -26.0),
    (5, -24.6), (1.6, -20), (0.4, -14), (-1.5, -8), (-2.5, -1),
]  # fmt: skip
_HELIX = [
    (12.5, 4.6, 3.2, 1.0), (8.5, 5.4, 4.8, 1.7), (4, 7.0, 6.6, 2.1), (0, 9.8, 7.8, 2.3), (-2.6, 14.5, 8.8, 2.4),
    (-3.1, 20.5, 10.0, 2.4), (-1.3, 26.4, 11.4, 2.5), (3.2, 31.2, 12.8, 2.5), (9.6, 33.7, 14.2, 2.5),
    (16.4, 33.3, 15.5, 2.5), (22.8, 30, 16.8, 2.5), (27.6, 24.2, 17.9, 2.5), (29.7, 16.5, 18.6, 2.4),
    (29.8, 8.5, 18.8, 2.3), (28.3, 0.5, 18.4, 2.1), (25.6, -6.8, 17.0, 1.9), (22.2, -13, 14.6, 1.7),
    (19, -17.8, 11.8, 1.4),
]  # fmt: skip
_MIDDLE = np.array([14.0, 10.0])


class _Sheet:
    """Heights over the (p, s) plane, read with cubic splines."""

    def __init__(self, heights: FloatArray) -> None:
        self._height = spline_filter(heights, order=3)
        slope = np.gradient(heights, _STEP)
        self._stretch = np.sqrt(1.0 + slope[0] ** 2 + slope[1] ** 2)

    def above(self, points: FloatArray) -> FloatArray:
        """Return the approximate distance of points above the sheet."""
        place = ((points[:, :2] - _LOW) / _STEP).T
        height = map_coordinates(self._height, place, order=3, prefilter=False, mode="nearest")
        stretch = map_coordinates(self._stretch, place, order=1, mode="nearest")
        return np.asarray((points[:, 2] - height) / stretch)

    def height(self, flat: FloatArray) -> FloatArray:
        """Return the heights at (n, 2) places."""
        place = ((flat - _LOW) / _STEP).T
        return np.asarray(map_coordinates(self._height, place, order=3, prefilter=False, mode="nearest"))


def _grid() -> FloatArray:
    axes = [low + _STEP * np.arange(count) for low, count in zip(_LOW, _COUNT, strict=True)]
    return np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1)


@cache
def _sheets() -> tuple[_Sheet, _Sheet, _Sheet]:
    """Return the front, the back and the signed distance of the outline."""
    marks = np.vstack([_densified(line) for line in _LINES.values()] + [_rim_marks()])
    front = RBFInterpolator(marks[:, :2], marks[:, 2], kernel="thin_plate_spline", smoothing=0.02)
    grid = _grid()
    heights = front(grid.reshape(-1, 2)).reshape(_COUNT)
    reach = int(np.ceil(_THICKNESS / _STEP))
    window = _STEP * np.arange(-reach, reach + 1)
    square = _THICKNESS**2 - window[:, None] ** 2 - window[None, :] ** 2
    footprint = square >= 0.0
    cap = np.sqrt(np.maximum(square, 0.0))
    back = grey_erosion(heights, footprint=footprint, structure=cap)
    back = gaussian_filter(back, 1.6 / _STEP)
    outline = spline(_OUTLINE, 800, closed=True)
    away, _ = KDTree(outline).query(grid.reshape(-1, 2))
    inside = _in_polygon(grid.reshape(-1, 2), outline)
    return _Sheet(heights), _Sheet(back), _Sheet(np.where(inside, -away, away).reshape(_COUNT))


def _rim_marks() -> FloatArray:
    """Return heights that lead the plate up into the helix."""
    knots = spline(_HELIX, 60)[16:, :3]
    return np.asarray(np.vstack([knots - [0, 0, 1.2], knots + (knots - [*_MIDDLE, 0]) * [0.12, 0.12, 0]
                                 - [0, 0, 2.0]]))


def _densified(line: list[tuple[float, float, float]]) -> FloatArray:
    """Return points about every 1.5 mm along the line."""
    knots = np.asarray(line, dtype=np.float64)
    if len(knots) < 2:
        return knots
    length = np.linalg.norm(np.diff(knots, axis=0), axis=1).sum()
    return spline(knots, int(length / 1.5) + 2)


def _in_polygon(points: FloatArray, outline: FloatArray) -> NDArray[np.bool_]:
    inside = np.zeros(len(points), dtype=bool)
    for (x0, y0), (x1, y1) in zip(outline, np.roll(outline, -1, axis=0), strict=True):
        spans = (y0 > points[:, 1]) != (y1 > points[:, 1])
        if y0 != y1:
            inside ^= spans & (points[:, 0] < x0 + (points[:, 1] - y0) * (x1 - x0) / (y1 - y0))
    return inside


@cache
def _rims() -> tuple[Tube, Tube]:
    """Return the helix and the lip that rolls inward over the scapha."""
    knots = np.array(_HELIX)
    flat = spline(knots, 61)
    tangent = np.gradient(flat[:, :2], axis=0)
    inward = np.stack([tangent[:, 1], -tangent[:, 0]], axis=1)
    inward /= np.linalg.norm(inward, axis=1)[:, None]
    t = np.linspace(0.0, 1.0, len(flat))
    roll = np.interp(t, [0, 0.16, 0.26, 0.5, 0.8, 0.93, 1], [0, 0.2, 1, 1, 0.9, 0.3, 0])
    lip = flat.copy()
    lip[:, :2] += inward * (2.3 * roll)[:, None]
    lip[:, 2] += 0.5 * roll
    lip[:, 3] *= 0.72
    return Tube(knots), Tube(lip)


def auricle(points: FloatArray) -> FloatArray:
    """Return the distance from the ear with its root, which reaches below the skin (ear frame)."""
    front, back, outline = _sheets()
    edge = outline.height(points[:, :2])
    above, below = front.above(points), back.above(points)
    body = soft_max(soft_max(above, -below, 1.0), edge, 2.0)
    root = np.hypot((points[:, 0] - 4.0) / 10.0, (points[:, 1] - 3.0) / 17.0) - 1.0
    stem = np.maximum(np.maximum(root * 10.0, above + 0.4), -8.0 - points[:, 2])
    body = soft_min(body, stem, 3.0)
    lobule = ellipsoid(points, (9.8, -19.0, 6.6), (8.6, 8.2, 3.0), turn=rotation(1, -14.0))
    body = soft_min(body, lobule, 3.0)
    helix, lip = _rims()
    rim = soft_min(helix.distance_mm(points), lip.distance_mm(points), 1.5)
    body = soft_min(body, rim, 1.6)
    tragus = ellipsoid(points, (0.6, -3.6, 4.6), (2.3, 5.0, 5.0), turn=rotation(1, 38.0))
    body = soft_min(body, tragus, 2.2)
    antitragus = ellipsoid(points, (13.6, -11.6, 11.2), (4.2, 2.0, 3.2), turn=rotation(2, 15.0))
    return soft_min(body, antitragus, 2.5)

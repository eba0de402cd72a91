"""The ear of the phantom: a relief drawn by feature lines, rimmed by a rolled helix.

Ear frame of the right ear, in mm: x to the front, y up along the ear, z out from the skin; the skin is near
z = 0 and the origin lies in front of the ear canal. The drawing itself is kept in (p, s, w): p to the back, s
up, w out.
"""

from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RBFInterpolator
from scipy.ndimage import gaussian_filter, grey_erosion, map_coordinates, maximum_filter, spline_filter
from scipy.spatial import KDTree

from demo_shapes.curves import Tube, spline
from demo_shapes.fields import carve, ellipsoid, rotation, smooth_step, soft_max, soft_min

FloatArray = NDArray[np.float64]

_LOW = np.array([-16.0, -40.0])
_STEP = 0.25
_COUNT = (240, 360)
_THICKNESS = 2.9
_SOFTENING = 0.7
_LEAST_WALL = 1.9
_EDGE_BEYOND = 0.9
_GUTTER_INWARD, _GUTTER_BELOW = 0.7, 2.5
_REACH_MM = 14.0  # of the rim: farther off than anything is blended with the ear, so that skin stays as it is
_SCALE = 0.965  # from the drawing to the ear
_TO_FRAME = _SCALE * np.array([-1.0, 1.0, 1.0])

# Feature lines (p, s, w): what a modeller would draw first.
_LINES: dict[str, list[tuple[float, float, float]]] = {
    "scapha": [
        (4.5, 28.6, 9.2), (9.5, 30.6, 9.9), (15.5, 29.8, 10.8), (21.5, 26.2, 11.8),
        (25.8, 20, 12.6), (27.2, 12.5, 13.0), (26.6, 4.5, 12.7), (24.6, -3.5, 12.2), (21.2, -10.5, 11.4),
        (17.0, -15.2, 10.4),
    ],
    "triangular fossa": [(15, 20.6, 11.6), (10.5, 22.6, 9.0), (5.5, 23.6, 7.8), (1.5, 22.8, 7.8)],
    "cymba": [(2.5, 12.8, 5.8), (6.5, 12.4, 5.0), (10.5, 11.4, 4.6), (13.5, 9.6, 4.6)],
    "cavum": [
        (4, -2, 2.4), (6.5, -4.5, 2.2), (10, -4.5, 2.4), (13, -1.5, 2.8), (14, 2.0, 3.4), (10.5, 0.5, 2.6),
        (6.5, 1.0, 2.6),
    ],
    "crus helicis": [(13.0, 5.4, 2.8), (8.5, 5.6, 4.0), (4.5, 7.2, 5.0), (1.5, 8.8, 6.0)],
    "notch": [(8.8, -8.6, 3.2), (7, -10.8, 4.8), (6.0, -13.2, 6.0)],
    "lobule": [
        (4.5, -17.5, 6.6), (9.5, -17.2, 8.2), (13.5, -17, 9.4), (14, -20, 8.8), (9.5, -21.5, 7.6),
        (5.5, -22, 6.4), (8, -26.5, 6.4), (12, -26, 7.0),
    ],
    "front": [
        (-3, -15, -1.0), (-5, -6, -1.0), (-4, 3, -0.5), (-7, 10, -1.0), (-8, 18, -0.5), (-8, 26, 1.0),
        (1.5, -10.8, 4.4), (-2.0, -9.6, 3.0), (-5, -12, 0.0), (1.0, -15.5, 3.8), (0.5, -20, 3.4),
        (0, 2.5, 2.2),
    ],
}  # fmt: skip
# Rounded folds: crest (p, s, w) with the half width and drop of its shoulders.
_FOLDS: list[tuple[list[tuple[float, float, float]], float, float]] = [
    (
        [
            (13.2, -12.0, 12.6), (15.8, -10.6, 13.6), (18.8, -6.5, 15.0), (21.2, 0, 16.4), (21.6, 6.5, 17.0),
            (20.6, 12.5, 16.8), (19.2, 18, 15.6), (17.2, 23, 14.0), (14.8, 27.0, 12.2),
        ],
        1.9, 0.75,
    ),
    ([(16.0, 16.2, 14.9), (12, 17.2, 13.0), (7.0, 17.8, 11.0), (2.2, 17.4, 9.4)], 1.2, 0.6),
]  # fmt: skip
_OUTLINE = [
    (-3, 6), (-4, 14), (-4.2, 21), (-2, 27.5), (3, 32), (9.5, 34.6), (16.5, 34.2), (23, 30.8), (28, 24.6),
    (30.2, 16.8), (30.3, 8.5), (28.8, 0.3), (26, -7.2), (22.3, -14), (19.2, -19), (15.2, -23.6), (10, -26.0),
    (5, -24.6), (1.6, -20), (0.4, -14), (-1.5, -8), (-2.5, -1),
]  # fmt: skip
_HELIX = [
    (15.5, 3.4, 0.4, 0.4), (11.5, 4.4, 2.0, 1.0), (7.5, 5.6, 4.4, 1.6), (3.6, 7.4, 6.2, 1.9),
    (0.1, 10.1, 7.5, 2.0), (-2.6, 14.4, 8.6, 2.0), (-3.4, 20.2, 9.8, 2.1), (-1.6, 26.2, 11.2, 2.3),
    (3.0, 31.2, 12.7, 2.5),
    (9.4, 33.8, 14.1, 2.6), (16.4, 33.4, 15.4, 2.6), (22.8, 30.0, 16.7, 2.5), (27.7, 24.2, 17.8, 2.3),
    (30.0, 16.5, 18.5, 2.1), (30.2, 8.5, 18.8, 1.9), (28.7, 0.5, 18.2, 1.8), (26.0, -6.8, 16.6, 1.7),
    (22.6, -13, 13.8, 1.7), (18.8, -18.4, 10.4, 1.6), (15.0, -21.8, 7.6, 1.2),
]  # fmt: skip
_MIDDLE = np.array([14.0, 10.0])


class _Sheet:
    """Heights over the (p, s) plane, read with cubic splines."""

    def __init__(self, heights: FloatArray) -> None:
        self._height = spline_filter(heights, order=3)
        slope = np.gradient(heights, _STEP)
        steep = maximum_filter(np.sqrt(1.0 + slope[0] ** 2 + slope[1] ** 2), int(1.0 / _STEP))
        self._stretch = gaussian_filter(steep, 1.0 / _STEP)

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
    marks = np.vstack([*map(_densified, _LINES.values()), *_fold_marks(), _rim_marks()])
    front = RBFInterpolator(marks[:, :2], marks[:, 2], kernel="thin_plate_spline", smoothing=0.02)
    grid = _grid()
    drawn = np.round(front(grid.reshape(-1, 2)), 4)  # so that the threads of the solver leave no trace
    heights = gaussian_filter(drawn.reshape(_COUNT), _SOFTENING / _STEP)
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


def _fold_marks() -> list[FloatArray]:
    """Return crests and shoulders of the rounded folds."""
    marks = []
    for line, half_width, drop in _FOLDS:
        crest = _densified(line)
        tangent = np.gradient(crest[:, :2], axis=0)
        side = np.column_stack([tangent[:, 1], -tangent[:, 0]])
        side *= half_width / np.linalg.norm(side, axis=1)[:, None]
        shoulder = np.full(len(crest), -drop)
        marks += [
            crest,
            crest + np.column_stack([side, shoulder]),
            crest + np.column_stack([-side, shoulder]),
        ]
    return marks


def _rim_marks() -> FloatArray:
    """Return heights that lead the plate up into the helix."""
    knots = spline(_HELIX, 130)[34:, :3]
    outward = (knots - [*_MIDDLE, 0.0]) * [0.12, 0.12, 0.0]
    front = smooth_step(6.0, -1.0, knots[:, 0])
    outward[:, 2] = -2.0 - 3.0 * front
    return np.asarray(np.vstack([knots - [0.0, 0.0, 1.2], knots + outward]))


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
    roll = np.interp(t, [0, 0.16, 0.26, 0.5, 0.8, 0.93, 1], [0, 0.2, 0.9, 1.15, 0.9, 0.3, 0])
    lip = flat.copy()
    lip[:, :2] += inward * (2.3 * roll)[:, None]
    lip[:, 2] += 0.4 * roll
    lip[:, 3] *= 0.68
    return Tube(knots, reach_mm=_REACH_MM), Tube(lip, reach_mm=_REACH_MM)


def helix_line() -> FloatArray:
    """Return points along the middle of the helix, (n, 3), in the ear frame."""
    return np.asarray(_rims()[0].centers * _TO_FRAME)


def auricle(points: FloatArray) -> FloatArray:
    """Return the distance from the ear with its root, which reaches below the skin (ear frame)."""
    return _drawn(points / _TO_FRAME) * _SCALE


def _drawn(points: FloatArray) -> FloatArray:
    """Return the distance at the size it is drawn."""
    front, back, outline = _sheets()
    edge = outline.height(points[:, :2]) - _EDGE_BEYOND
    above, below = front.above(points), back.above(points)
    body = soft_max(soft_max(above, -below, 1.0), edge, 1.4)
    root = np.hypot((points[:, 0] - 4.0) / 10.0, (points[:, 1] - 3.0) / 17.0) - 1.0
    stem = np.maximum(np.maximum(root * 10.0, above + 0.4), -8.0 - points[:, 2])
    body = soft_min(body, stem, 3.0)
    lobule = ellipsoid(points, (10.0, -19.2, 6.4), (8.6, 8.0, 3.0), turn=rotation(1, -14.0))
    body = soft_min(body, lobule, 4.0)
    tragus = ellipsoid(points, (-1.6, -3.8, 3.8), (4.8, 4.6, 1.5), turn=rotation(1, -42.0))
    body = soft_min(body, tragus, 3.5)
    body = soft_min(body, ellipsoid(points, (-0.5, -10.5, 3.0), (3.6, 4.2, 2.0)), 3.0)
    helix, lip = _rims()
    body = soft_min(body, helix.distance_mm(points), 2.6)
    hollow = np.maximum(_gutter().distance_mm(points), _LEAST_WALL - below)
    body = carve(body, hollow, 1.2)
    return soft_min(body, lip.distance_mm(points), 1.0)


@cache
def _gutter() -> Tube:
    """Return the hollow under the rolled lip, from the front of the top to the tail."""
    lip = _rims()[1]
    front, tail = int(np.argmax(lip.centers[:, 1])) - 4, int(np.argmin(np.abs(lip.centers[:, 1] + 8.0)))
    path = lip.centers[front:tail:4].copy()
    inward = np.append(_MIDDLE, 0.0) - path
    inward[:, 2] = 0.0
    path += _GUTTER_INWARD * inward / np.linalg.norm(inward, axis=1)[:, None]
    path[:, 2] -= _GUTTER_BELOW
    radius = 0.4 + 1.0 * np.sin(np.linspace(0.0, np.pi, len(path)))
    return Tube(np.column_stack([path, radius]), reach_mm=4.5)

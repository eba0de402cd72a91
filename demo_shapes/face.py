"""The head without ears: a lofted skull and jaw with the features of a face.

Head frame, in mm: x to the right side of the head, y to the front, z up; the tragions lie near y = 0, z = 0
and the mirror plane is x = 0, since every point is first folded to x ≥ 0.
"""

from functools import cache
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import CubicSpline

from demo_shapes.curves import Groove, Tube
from demo_shapes.fields import (
    bump,
    carve,
    ellipsoid,
    rotation,
    round_cone,
    smooth_step,
    soft_max,
    soft_min,
)

FloatArray = NDArray[np.float64]

BASE_Z_MM: Final = -165.0
_DOME_Z, _DOME_HEIGHT, _DOME_POWER = 44.0, 87.0, 2.25  # above, the skull closes in a dome

# z, half width, front, back, middle, power of the front's section
_SECTIONS = np.array([
    (-125, 30.0, 70.0, -40.0, 15.0, 2.0),
    (-105, 38.0, 82.0, -52.0, 12.0, 2.0),
    (-92, 44.0, 88.0, -58.0, 10.0, 2.0),
    (-78, 50.0, 90.0, -62.0, 8.0, 2.1),
    (-62, 56.0, 89.0, -66.0, 6.0, 2.2),
    (-45, 61.0, 90.0, -72.0, 4.0, 2.3),
    (-25, 66.0, 92.0, -82.0, 2.0, 2.3),
    (-5, 70.0, 92.0, -89.5, 0.0, 2.3),
    (14, 73.2, 92.5, -94.5, -4.0, 2.3),
    (30, 75.2, 95.3, -97.2, -7.5, 2.3),
    (44, 76.0, 96.5, -98.0, -9.0, 2.3),
])  # fmt: skip

# Lips: x, y, z, radius. Grooves on the skin: x, z, depth, width.
_UPPER_LIP = [
    (-26, 84.5, -49.2, 1.0), (-19, 89.8, -48.3, 2.6), (-10, 94.8, -46.9, 3.6), (-5, 96.0, -46.6, 3.9),
    (0, 95.9, -47.6, 3.7), (5, 96.0, -46.6, 3.9), (10, 94.8, -46.9, 3.6), (19, 89.8, -48.3, 2.6),
    (26, 84.5, -49.2, 1.0),
]  # fmt: skip
_LOWER_LIP = [
    (-25, 84.5, -50.0, 1.0), (-18, 89.6, -52.2, 2.8), (-9, 93.6, -54.2, 4.2), (0, 94.6, -55.0, 4.7),
    (9, 93.6, -54.2, 4.2), (18, 89.6, -52.2, 2.8), (25, 84.5, -50.0, 1.0),
]  # fmt: skip
_MOUTH = [
    (0, -50.9, 1.1, 0.8), (6, -50.1, 1.1, 0.8), (13, -50.1, 1.2, 0.8), (20, -50.0, 1.3, 0.9),
    (24.5, -49.7, 1.2, 1.1), (27.5, -49.3, 0.1, 1.2),
]  # fmt: skip
_LIDS = [
    (16.0, 14.6, 0.3, 0.7), (19, 13.2, 0.8, 0.8), (25, 10.9, 1.2, 0.8), (31, 10.2, 1.3, 0.8),
    (38, 11.2, 1.2, 0.8), (43.5, 13.6, 0.8, 0.8), (47, 15.6, 0.2, 0.7),
]  # fmt: skip
_LID_FOLD = [
    (17, 18.5, 0.2, 1.2), (22, 22.6, 0.8, 1.3), (30, 25.2, 1.0, 1.4), (38, 24.2, 0.9, 1.4),
    (46, 19.5, 0.2, 1.2),
]  # fmt: skip
_CHEEK_FOLD = [(19.5, -17, 0.2, 2.0), (22.5, -25, 0.9, 2.4), (27, -35, 0.9, 3.0), (31.5, -46, 0.3, 3.0)]


@cache
def _loft() -> CubicSpline:
    return CubicSpline(_SECTIONS[:, 0], _SECTIONS[:, 1:], bc_type=("natural", "clamped"))


@cache
def _lips() -> tuple[Tube, Tube]:
    return Tube(_UPPER_LIP), Tube(_LOWER_LIP)


@cache
def _lines() -> tuple[Groove, ...]:
    return tuple(Groove(line) for line in (_LIDS, _LID_FOLD, _CHEEK_FOLD, _MOUTH))


def face(points: FloatArray) -> FloatArray:
    """Return the distance from the head and neck without ears, cut flat at the base.

    Examples
    --------
    >>> bool(face(np.array([[0.0, 0.0, 20.0]]))[0] < 0 < face(np.array([[0.0, 140.0, 0.0]]))[0])
    True
    """
    p = points.copy()
    p[:, 0] = np.abs(p[:, 0])
    body = _skull(p)
    jaw_line = -0.38 * (p[:, 1] - 86.0) - 0.925 * (p[:, 2] + 101.0)
    body = soft_max(body, jaw_line, 22.0)
    body = soft_min(body, _neck(p), 20.0)
    body -= bump(p, (52, 58, -4), (16, 18, 14), 3.0)  # cheekbone
    body -= bump(p, (66, 45, 34), (14, 24, 22), -2.5)  # temple
    body -= bump(p, (44, 70, -48), (16, 24, 18), -2.5)  # hollow of the cheek
    front = (p[:, 1] > 45.0) & (p[:, 0] < 60.0) & (np.abs(p[:, 2] + 20.0) < 85.0)
    body[front] = _features(p[front], body[front])
    return soft_max(body, BASE_Z_MM - p[:, 2], 3.0)


def _skull(p: FloatArray) -> FloatArray:
    """Return the distance from the lofted skull, cheeks and jaw."""
    z = np.clip(p[:, 2], _SECTIONS[0, 0], _DOME_Z)
    width, front, back, middle, power = _loft()(z).T
    y = p[:, 1] - middle
    y = np.where(y > 0.0, y / (front - middle), y / (back - middle))
    up = np.maximum(p[:, 2] - _DOME_Z, 0.0) / _DOME_HEIGHT
    flat = ((p[:, 0] / width) ** power + y**power) ** (1.0 / power)
    size = (flat**_DOME_POWER + up**_DOME_POWER) ** (1.0 / _DOME_POWER)
    return np.asarray((size - 1.0) * np.minimum(width, front - middle))


def _neck(p: FloatArray) -> FloatArray:
    low = smooth_step(-105.0, -170.0, p[:, 2])
    lean = 0.16 * (p[:, 2] - BASE_Z_MM)
    column = np.hypot(p[:, 0] / (51.0 + 7.0 * low), (p[:, 1] + 22.0 - lean) / (57.0 + 4.0 * low)) - 1.0
    neck = np.maximum(column * 51.0, p[:, 2] - 10.0)
    muscle = round_cone(p, (50, -20, -46), (13, 25, -172), 7.5, 8.0)
    neck = soft_min(neck, muscle, 18.0)
    return np.asarray(neck - bump(p, (0, 42, -122), (8, 14, 10), 3.5))  # larynx


def _features(p: FloatArray, body: FloatArray) -> FloatArray:
    body = body - _pair(p, (21, 98, 38), (16, 14, 7), 1.7)  # brow
    body -= bump(p, (0, 97, 23), (9, 12, 8), -2.6)  # root of the nose
    body -= _pair(p, (31, 90, 17), (14, 14, 11), -7.5)  # orbit
    body -= bump(p, (0, 92, -46), (24, 30, 18), 5.0)  # muzzle
    body -= bump(p, (0, 88, -84), (13, 14, 9), 5.5)  # chin
    body -= bump(p, (0, 92, -68), (15, 14, 5), -1.2)  # fold between lip and chin
    body = _mouth(p, _nose(p, _eyes(p, body)))
    return np.asarray(body + sum(groove.depth_mm(p) for groove in _lines()))


def _pair(
    p: FloatArray, center: tuple[float, float, float], spread: ArrayLike, height_mm: float
) -> FloatArray:
    """Return two mirrored swellings that meet smoothly on the midline."""
    x, y, z = center
    return bump(p, (x, y, z), spread, height_mm) + bump(p, (-x, y, z), spread, height_mm)


def _eyes(p: FloatArray, body: FloatArray) -> FloatArray:
    upper = ellipsoid(p, (31.0, 72.5, 17.5), (16.5, 13.0, 11.0))
    lower = ellipsoid(p, (31.0, 72.0, 12.5), (15.5, 12.2, 8.0))
    return soft_min(soft_min(body, lower, 5.0), upper, 3.0)


def _nose(p: FloatArray, body: FloatArray) -> FloatArray:
    sides = round_cone(p, (0, 82, 18), (0, 88, -16), 8.0, 15.0)
    body = soft_min(body, sides, 10.0)
    bridge = round_cone(p, (0, 87.5, 26), (0, 106, -12), 5.5, 7.5)
    body = soft_min(body, bridge, 8.0)
    tip = ellipsoid(p, (0, 109, -16.8), (8.4, 8.5, 7.6))
    body = soft_min(body, tip, 7.0)
    wing = ellipsoid(p, (12.0, 98.8, -20.8), (4.6, 10.5, 5.6), turn=rotation(2, 14.0))
    body = soft_min(body, wing, 7.0)
    septum = round_cone(p, (0, 97, -28), (0, 111, -20.5), 3.4, 3.4)
    body = soft_min(body, septum, 4.5)
    nostril = ellipsoid(p, (7.0, 99.2, -27.8), (2.5, 4.4, 6.2), turn=rotation(2, 16.0))
    return carve(body, nostril, 1.6)


def _mouth(p: FloatArray, body: FloatArray) -> FloatArray:
    upper, lower = _lips()
    body = soft_min(body, upper.distance_mm(p), 4.0)
    body = soft_min(body, lower.distance_mm(p), 4.0)
    return body - bump(p, (0, 98, -36), (2.4, 14, 5), -1.3)  # philtrum

"""The head without ears: a lofted skull and jaw with the features of a face.

Head frame, in mm: x to the right side of the head, y to the front, z up; the tragions lie near y = 0, z = 0
and the mirror plane is x = 0, since every point is first folded to x ≥ 0.
"""

from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from demo_shapes.curves import Tube
from demo_shapes.fields import bump, carve, ellipsoid, round_cone, soft_max, soft_min

FloatArray = NDArray[np.float64]

BASE_Z_MM = -165.0
_TOP = 48.0  # above, the skull is an ellipsoid

# z, half width, front, back, middle, front exponent
_SECTIONS = np.array(
    [
        (-125.0, 30.0, 70.0, -40.0, 15.0, 2.0),
        (-105.0, 38.0, 82.0, -52.0, 12.0, 2.0),
        (-92.0, 44.0, 88.0, -58.0, 10.0, 2.0),
        (-78.0, 50.0, 90.0, -62.0, 8.0, 2.1),
        (-62.0, 56.0, 89.0, -66.0, 6.0, 2.2),
        (-45.0, 61.0, 90.0, -72.0, 4.0, 2.3),
        (-25.0, 66.0, 92.0, -82.0, 2.0, 2.3),
        (-5.0, 69.5, 92.0, -90.0, 0.0, 2.3),
        (15.0, 72.0, 92.5, -95.0, -4.0, 2.3),
        (30.0, 74.0, 95.0, -97.5, -8.0, 2.3),
        (40.0, 75.5, 97.0, -98.0, -10.0, 2.3),
        (48.0, 76.0, 97.3, -98.0, -11.0, 2.3),
    ]
)


@cache
def _loft() -> PchipInterpolator:
    return PchipInterpolator(_SECTIONS[:, 0], _SECTIONS[:, 1:], axis=0)


def _skull(points: FloatArray) -> FloatArray:
    """Return the distance from the lofted skull, cheeks and jaw."""
    z = np.clip(points[:, 2], _SECTIONS[0, 0], _TOP)
    width, front, back, middle, power = _loft()(z).T
    x = np.abs(points[:, 0]) / width
    y = points[:, 1] - middle
    y = np.where(y > 0.0, y / (front - middle), y / (back - middle))
    up = np.maximum(points[:, 2] - _TOP, 0.0) / 83.0
    flat = (x**power + y**power) ** (1.0 / power)
    size = np.hypot(flat, up)
    return np.asarray((size - 1.0) * np.minimum(width, front - middle))


def face(points: FloatArray) -> FloatArray:
    """Return the distance from the head and neck without ears, cut flat at the base."""
    p = points.copy()
    p[:, 0] = np.abs(p[:, 0])
    body = _skull(p)
    jaw_line = (p - np.array([0.0, 86.0, -101.0])) @ np.array([0.0, -0.38, -0.925])
    body = soft_max(body, jaw_line, 22.0)
    neck = np.hypot(p[:, 0] / 57.0, (p[:, 1] + 18.0 - 0.12 * (p[:, 2] + 165)) / 62.0) - 1.0
    neck = np.maximum(neck * 57.0, p[:, 2] - 10.0)
    body = soft_min(body, neck, 18.0)
    body -= bump(p, (52, 58, -4), (16, 18, 14), 3.0)  # cheekbone
    body -= bump(p, (66, 45, 34), (14, 22, 18), -3.0)  # temple
    body -= bump(p, (44, 70, -48), (16, 24, 18), -2.5)  # hollow of the cheek
    body -= bump(p, (22, 98, 39), (17, 14, 7), 3.2)  # brow
    body -= bump(p, (31, 92, 19), (13, 14, 9), -9.0)  # orbit
    body -= bump(p, (0, 88, -84), (13, 14, 9), 5.0)  # chin
    body -= bump(p, (0, 92, -67), (16, 12, 5), -3.0)  # mentolabial fold
    front = (p[:, 1] > 55.0) & (p[:, 0] < 60.0) & (np.abs(p[:, 2] + 15.0) < 65.0)
    body[front] = _features(p[front], body[front])
    return soft_max(body, BASE_Z_MM - p[:, 2], 3.0)


def _features(p: FloatArray, body: FloatArray) -> FloatArray:
    return _mouth(p, _nose(p, _eyes(p, body)))


def _eyes(p: FloatArray, body: FloatArray) -> FloatArray:
    lid = ellipsoid(p, (31.0, 73.0, 18.5), (15.5, 12.5, 11.5))
    body = soft_min(body, lid, 4.0)
    return carve(body, _fissure().distance_mm(p), 1.0)


@cache
def _fissure() -> Tube:
    return Tube([(16.5, 82.5, 15.5, 0.5), (24, 85.5, 13.8, 0.7), (31, 86.2, 13.4, 0.7), (39, 83.5, 14.6, 0.7),
                 (45.5, 77.5, 17.0, 0.5)])


def _nose(p: FloatArray, body: FloatArray) -> FloatArray:
    bridge = round_cone(p, (0, 86, 26), (0, 104, -12), 6.5, 9.0)
    body = soft_min(body, bridge, 10.0)
    body = soft_min(body, ellipsoid(p, (0, 108, -17.5), (9.0, 10.0, 8.0)), 6.0)
    body = soft_min(body, ellipsoid(p, (12.0, 100.0, -21.0), (6.0, 9.5, 7.0)), 4.0)
    body = soft_min(body, round_cone(p, (0, 98, -27), (0, 112, -22), 3.5, 3.5), 3.0)
    nostril = ellipsoid(p, (6.8, 103.5, -28.0), (2.6, 5.0, 6.0))
    return carve(body, nostril, 2.0)


def _mouth(p: FloatArray, body: FloatArray) -> FloatArray:
    upper, lower, line = _lips()
    body = soft_min(body, upper.distance_mm(p), 5.0)
    body = soft_min(body, lower.distance_mm(p), 5.0)
    body -= bump(p, (0, 97, -37), (2.6, 14, 6), -1.6)  # philtrum
    return carve(body, line.distance_mm(p), 1.5)


@cache
def _lips() -> tuple[Tube, Tube, Tube]:
    upper = [(-26, 84, -49.5, 1.2), (-12, 92.5, -45.5, 4.2), (0, 95, -46.5, 4.6), (12, 92.5, -45.5, 4.2),
             (26, 84, -49.5, 1.2)]
    lower = [(-25, 84, -50, 1.2), (-11, 91.5, -54.5, 4.8), (0, 93, -55.5, 5.4), (11, 91.5, -54.5, 4.8),
             (25, 84, -50, 1.2)]
    line = [(-27, 87, -49.5, 0.7), (-12, 96, -49.0, 0.9), (0, 98.5, -50, 0.9), (12, 96, -49.0, 0.9),
            (27, 87, -49.5, 0.7)]
    return Tube(upper), Tube(lower), Tube(line)

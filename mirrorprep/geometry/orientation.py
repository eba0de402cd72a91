"""On which side of a plane or line a point lies: signs that rounding cannot turn."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
SignArray = NDArray[np.int8]
_Pair = tuple[FloatArray, FloatArray]

_FILTER_3D: Final = 7.771561172376103e-16
_FILTER_2D: Final = 3.3306690738754716e-16
_PAIR_FILTER: Final = 2.0**-96
_SPLITTER: Final = 2.0**27 + 1.0


def orientation_3d(a: FloatArray, b: FloatArray, c: FloatArray, d: FloatArray) -> SignArray:
    """Return +1 where `d` lies on the side of the plane (a, b, c) from which they run counter-clockwise.

    Parameters
    ----------
    a, b, c, d : (n, 3) float64
        Points.

    Returns
    -------
    (n,) int8
        +1 above, −1 below, 0 coplanar.

    Notes
    -----
    Signs are taken in double precision where the error bound of J. R. Shewchuk, "Adaptive precision
    floating-point arithmetic and fast robust geometric predicates", Discrete & Computational Geometry 18
    (1997) 305-363, allows it, and otherwise with pairs of doubles. There a determinant below 2⁻⁹⁶ of the
    size of its terms counts as zero, which is exact for coordinates of about 30 significant bits over a
    common exponent (single-precision files of ordinary scans).

    Examples
    --------
    >>> flat = [np.array([p], dtype=float) for p in ([0, 0, 0], [1, 0, 0], [0, 1, 0])]
    >>> [int(orientation_3d(*flat, np.array([[0.0, 0.0, z]]))[0]) for z in (1e-300, 0.0, -1.0)]
    [1, 0, -1]
    """
    u, v, w = a - d, b - d, c - d
    minors = (
        (v[:, 0], w[:, 1], v[:, 1], w[:, 0], u[:, 2]),
        (w[:, 0], u[:, 1], w[:, 1], u[:, 0], v[:, 2]),
        (u[:, 0], v[:, 1], u[:, 1], v[:, 0], w[:, 2]),
    )
    value = np.zeros(len(u))
    size = np.zeros(len(u))
    for p, q, r, s, t in minors:
        left, right = p * q, r * s
        value += (left - right) * t
        size += (np.abs(left) + np.abs(right)) * np.abs(t)
    # The determinant of (a-d, b-d, c-d) is positive when d lies below, hence the sign.
    sign = -np.sign(value).astype(np.int8)
    unsure = np.flatnonzero(np.abs(value) <= _FILTER_3D * size)
    if len(unsure):
        sign[unsure] = _careful_3d(a[unsure], b[unsure], c[unsure], d[unsure])
    return sign


def orientation_2d(a: FloatArray, b: FloatArray, c: FloatArray) -> SignArray:
    """Return +1 where the (n, 2) points a, b, c run counter-clockwise, −1 clockwise, 0 in line.

    Examples
    --------
    >>> a, b, c = (np.array([p], dtype=float) for p in ([0, 0], [1, 0], [0, 1]))
    >>> int(orientation_2d(a, b, c)[0]), int(orientation_2d(a, c, b)[0]), int(orientation_2d(a, b, b)[0])
    (1, -1, 0)
    """
    left = (a[:, 0] - c[:, 0]) * (b[:, 1] - c[:, 1])
    right = (a[:, 1] - c[:, 1]) * (b[:, 0] - c[:, 0])
    value = left - right
    sign = np.sign(value).astype(np.int8)
    unsure = np.flatnonzero(np.abs(value) <= _FILTER_2D * (np.abs(left) + np.abs(right)))
    if len(unsure):
        sign[unsure] = _careful_2d(a[unsure], b[unsure], c[unsure])
    return sign


def _careful_3d(a: FloatArray, b: FloatArray, c: FloatArray, d: FloatArray) -> SignArray:
    u, v, w = ([_two_sum(p[:, k], -d[:, k]) for k in range(3)] for p in (a, b, c))
    total = _zero(len(a))
    size = np.zeros(len(a))
    for one, two, three in ((v, w, u), (w, u, v), (u, v, w)):
        left, right = _multiply(one[0], two[1]), _multiply(one[1], two[0])
        minor = _add(left, _negative(right))
        total = _add(total, _multiply(minor, three[2]))
        size += (np.abs(left[0]) + np.abs(right[0])) * np.abs(three[2][0])
    return -_sign(total, size)


def _careful_2d(a: FloatArray, b: FloatArray, c: FloatArray) -> SignArray:
    u, v = ([_two_sum(p[:, k], -c[:, k]) for k in range(2)] for p in (a, b))
    left, right = _multiply(u[0], v[1]), _multiply(u[1], v[0])
    return _sign(_add(left, _negative(right)), np.abs(left[0]) + np.abs(right[0]))


def _sign(value: _Pair, size: FloatArray) -> SignArray:
    total = value[0] + value[1]
    return np.asarray(np.where(np.abs(total) <= _PAIR_FILTER * size, 0, np.sign(total)), dtype=np.int8)


def _zero(count: int) -> _Pair:
    return np.zeros(count), np.zeros(count)


def _negative(x: _Pair) -> _Pair:
    return -x[0], -x[1]


def _two_sum(x: FloatArray, y: FloatArray) -> _Pair:
    total = x + y
    part = total - x
    return total, (x - (total - part)) + (y - part)


def _two_product(x: FloatArray, y: FloatArray) -> _Pair:
    product = x * y
    (x_high, x_low), (y_high, y_low) = _halves(x), _halves(y)
    return product, ((x_high * y_high - product) + x_high * y_low + x_low * y_high) + x_low * y_low


def _halves(x: FloatArray) -> _Pair:
    scaled = _SPLITTER * x
    high = scaled - (scaled - x)
    return high, x - high


def _add(x: _Pair, y: _Pair) -> _Pair:
    high, error = _two_sum(x[0], y[0])
    low, rest = _two_sum(x[1], y[1])
    high, error = _quick(high, error + low)
    return _quick(high, error + rest)


def _multiply(x: _Pair, y: _Pair) -> _Pair:
    high, low = _two_product(x[0], y[0])
    return _quick(high, low + (x[0] * y[1] + x[1] * y[0]))


def _quick(high: FloatArray, low: FloatArray) -> _Pair:
    total = high + low
    return total, low - (total - high)

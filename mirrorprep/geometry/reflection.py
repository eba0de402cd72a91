"""Reflection across a plane."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


def reflection_matrix(normal: ArrayLike, offset_mm: float) -> FloatArray:
    """Return the 4 × 4 matrix that mirrors column vectors across ``normal · p = offset_mm``.

    Notes
    -----
    Householder: H = I − 2nnᵀ, t = 2dn; det H = −1, trace H = 1, H² = I.

    Examples
    --------
    >>> image = reflection_matrix([1 / 3, 2 / 3, 2 / 3], 4.0) @ [1, 0, 0, 1]
    >>> (image[:3] * 9).round(9).tolist()
    [31.0, 44.0, 44.0]
    """
    unit = np.asarray(normal, dtype=np.float64)
    unit = unit / np.linalg.norm(unit)
    matrix = np.eye(4)
    matrix[:3, :3] -= 2.0 * np.outer(unit, unit)
    matrix[:3, 3] = 2.0 * offset_mm * unit
    return matrix


def reflect(points: FloatArray, normal: ArrayLike, offset_mm: float) -> FloatArray:
    """Return (n, 3) points mirrored across the plane.

    Examples
    --------
    >>> reflect(np.array([[1.0, 2.0, 3.0]]), [1, 0, 0], 0.0).tolist()
    [[-1.0, 2.0, 3.0]]
    """
    unit = np.asarray(normal, dtype=np.float64)
    unit = unit / np.linalg.norm(unit)
    return np.asarray(points - 2.0 * np.outer(points @ unit - offset_mm, unit))

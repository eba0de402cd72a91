"""Closest points on triangles."""

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


def closest_on_triangles(points: FloatArray, triangles: FloatArray) -> FloatArray:
    """Return the point of each triangle that lies closest to the point paired with it.

    Parameters
    ----------
    points : (..., 3) float64
        Query points.
    triangles : (..., 3, 3) float64
        One triangle per point; may be degenerate.

    Returns
    -------
    (..., 3) float64
        Closest points.

    Notes
    -----
    The foot on the triangle's plane when it falls inside, else the nearest of the feet on the three edges.

    Examples
    --------
    >>> corner = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0]])
    >>> closest_on_triangles(np.array([[0.25, 0.25, 3.0], [2.0, -1.0, 0.0]]), np.stack([corner] * 2)).tolist()
    [[0.25, 0.25, 0.0], [1.0, 0.0, 0.0]]
    """
    a, b, c = (triangles[..., corner, :] for corner in range(3))
    best = _on_segment(points, a, b)
    best_square = _square(points - best)
    for start, stop in ((b, c), (c, a)):
        foot = _on_segment(points, start, stop)
        square = _square(points - foot)
        nearer = square < best_square
        best = np.where(nearer[..., None], foot, best)
        best_square = np.where(nearer, square, best_square)
    foot, inside = _on_plane(points, a, b, c)
    return np.asarray(np.where(inside[..., None], foot, best))


def _square(vectors: FloatArray) -> FloatArray:
    return np.asarray(np.einsum("...i,...i->...", vectors, vectors))


def _on_segment(points: FloatArray, start: FloatArray, stop: FloatArray) -> FloatArray:
    along = stop - start
    length = _square(along)
    share = np.einsum("...i,...i->...", points - start, along)
    share = np.divide(share, length, out=np.zeros_like(share), where=length > 0.0)
    return np.asarray(start + np.clip(share, 0.0, 1.0)[..., None] * along)


def _on_plane(
    points: FloatArray, a: FloatArray, b: FloatArray, c: FloatArray
) -> tuple[FloatArray, NDArray[np.bool_]]:
    e, f, g = b - a, c - a, points - a
    ee, ef, ff = _square(e), np.einsum("...i,...i->...", e, f), _square(f)
    ge, gf = np.einsum("...i,...i->...", g, e), np.einsum("...i,...i->...", g, f)
    determinant = ee * ff - ef * ef
    whole = determinant > 1e-14 * ee * ff
    scale = np.divide(1.0, determinant, out=np.zeros_like(determinant), where=whole)
    u, v = (ff * ge - ef * gf) * scale, (ee * gf - ef * ge) * scale
    inside = whole & (u >= 0.0) & (v >= 0.0) & (u + v <= 1.0)
    return a + u[..., None] * e + v[..., None] * f, inside

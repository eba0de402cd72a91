"""Generalised winding numbers: how often a surface, closed or not, goes around a point."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_CHUNK: Final = 1 << 20


def winding_numbers(points: FloatArray, vertices: FloatArray, faces: IntArray) -> FloatArray:
    """Return the winding number of the surface about each point, summed exactly over all faces.

    Parameters
    ----------
    points : (k, 3) float64
        Places off the surface.
    vertices, faces : (n, 3) float64, (m, 3) int64
        The surface, counter-clockwise from outside.

    Returns
    -------
    (k,) float64
        1 inside a closed surface, 0 outside, in between for an open one.

    Notes
    -----
    Solid angles after A. Van Oosterom and J. Strackee, "The solid angle of a plane triangle", IEEE
    Transactions on Biomedical Engineering 30 (1983) 125-126; summed as in A. Jacobson, L. Kavan and
    O. Sorkine-Hornung, "Robust inside-outside segmentation using generalized winding numbers", ACM
    Transactions on Graphics 32 (2013). Cost is points times faces.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import box
    >>> cube = box([1, 1, 1]).mesh
    >>> winding_numbers(np.array([[0.0, 0, 0], [2, 0, 0]]), cube.vertices, cube.faces).round(12).tolist()
    [1.0, 0.0]
    """
    total = np.zeros(len(points))
    step = max(1, _CHUNK // max(len(points), 1))
    for start in range(0, len(faces), step):
        corners = vertices[faces[start : start + step]]
        total += _solid_angles(points, corners).sum(axis=1)
    return np.asarray(total / (4.0 * np.pi))


def _solid_angles(points: FloatArray, corners: FloatArray) -> FloatArray:
    a, b, c = (corners[None, :, k] - points[:, None] for k in range(3))
    la, lb, lc = (np.sqrt(np.einsum("pfi,pfi->pf", e, e)) for e in (a, b, c))
    volume = np.einsum("pfi,pfi->pf", a, np.cross(b, c))
    ab, bc, ca = (np.einsum("pfi,pfi->pf", e, f) for e, f in ((a, b), (b, c), (c, a)))
    return np.asarray(2.0 * np.arctan2(volume, la * lb * lc + ab * lc + bc * la + ca * lb))

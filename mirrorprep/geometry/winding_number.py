"""Generalised winding numbers: how often a surface, closed or not, goes around a point."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_CHUNK: Final = 1 << 20
_FEW_FACES: Final = 20_000
_CELLS: Final = 64


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


def quick_winding_numbers(points: FloatArray, vertices: FloatArray, faces: IntArray) -> FloatArray:
    """Return the winding numbers with far faces gathered into dipoles, to about one part in a hundred.

    For a few points and many faces. Faces are gathered by the cells of a grid; a cell further from a point
    than three times its size counts as one dipole at its faces' middle (G. Barill et al., "Fast winding
    numbers for soups and clouds", ACM Transactions on Graphics 37 (2018), one level only).

    Examples
    --------
    >>> from mirrorprep.solid.primitives import sphere
    >>> ball = sphere(10.0, segments=256).mesh
    >>> places = np.array([[5.0, 0, 0], [0, 0, 12.0]])
    >>> np.abs(quick_winding_numbers(places, ball.vertices, ball.faces)).round(2).tolist()
    [1.0, 0.0]
    """
    if len(faces) < _FEW_FACES:
        return winding_numbers(points, vertices, faces)
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    area, middle = np.cross(b - a, c - a) / 2.0, (a + b + c) / 3.0
    low = middle.min(axis=0)
    cell = max(float(np.ptp(middle, axis=0).max()) / _CELLS, 1e-300)
    place = np.floor((middle - low) / cell).astype(np.int64) @ np.array([1, 1 << 20, 1 << 40])
    _, group, size = np.unique(place, return_inverse=True, return_counts=True)
    dipole = np.stack([np.bincount(group, area[:, k]) for k in range(3)], axis=1)
    center = np.stack([np.bincount(group, middle[:, k]) for k in range(3)], axis=1) / size[:, None]
    order = np.argsort(group, kind="stable")
    starts = np.cumsum(size) - size
    total = np.empty(len(points))
    for row, point in enumerate(points):
        away = center - point
        distance = np.linalg.norm(away, axis=1)
        far = distance > 3.0 * cell
        share = np.einsum("ij,ij->i", away[far], dipole[far]) / distance[far] ** 3
        near = [order[starts[g] : starts[g] + size[g]] for g in np.flatnonzero(~far)]
        exact = winding_numbers(point[None], vertices, faces[np.concatenate(near)])[0] if near else 0.0
        total[row] = share.sum() / (4.0 * np.pi) + exact
    return total


def _solid_angles(points: FloatArray, corners: FloatArray) -> FloatArray:
    a, b, c = (corners[None, :, k] - points[:, None] for k in range(3))
    la, lb, lc = (np.sqrt(np.einsum("pfi,pfi->pf", e, e)) for e in (a, b, c))
    volume = np.einsum("pfi,pfi->pf", a, np.cross(b, c))
    ab, bc, ca = (np.einsum("pfi,pfi->pf", e, f) for e, f in ((a, b), (b, c), (c, a)))
    return np.asarray(2.0 * np.arctan2(volume, la * lb * lc + ab * lc + bc * la + ca * lb))

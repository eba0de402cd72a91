"""Normals of triangles and of point clouds."""

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


def doubled_areas(vertices: FloatArray, faces: IntArray) -> FloatArray:
    """Return the cross product of two edges of each face, shape (m, 3): normal times twice the area.

    Examples
    --------
    >>> corner = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0]])
    >>> doubled_areas(corner, np.array([[0, 1, 2]])).tolist()
    [[0.0, 0.0, 1.0]]
    """
    x, y, z = (np.ascontiguousarray(vertices[:, axis])[faces.T] for axis in range(3))
    ax, ay, az = x[1] - x[0], y[1] - y[0], z[1] - z[0]
    bx, by, bz = x[2] - x[0], y[2] - y[0], z[2] - z[0]
    return np.stack([ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx], axis=1)


def unit(vectors: FloatArray) -> FloatArray:
    """Return (..., 3) vectors scaled to length one; a zero vector stays zero."""
    length = np.sqrt(np.einsum("...i,...i->...", vectors, vectors))[..., None]
    return np.asarray(np.divide(vectors, length, out=np.zeros_like(vectors), where=length > 0.0))


def vertex_normals(vertices: FloatArray, faces: IntArray) -> FloatArray:
    """Return area-weighted unit normals of the vertices, shape (n, 3); zero where no face meets.

    Examples
    --------
    >>> corner = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [9, 9, 9]])
    >>> vertex_normals(corner, np.array([[0, 1, 2]])).tolist()
    [[0.0, 0.0, 1.0], [0.0, 0.0, 1.0], [0.0, 0.0, 1.0], [0.0, 0.0, 0.0]]
    """
    cross = doubled_areas(vertices, faces)
    corners = faces.ravel()
    columns = [
        np.bincount(corners, weights=np.repeat(cross[:, axis], 3), minlength=len(vertices))
        for axis in range(3)
    ]
    return unit(np.stack(columns, axis=1).astype(np.float64))


def fitted_normals(neighbours: FloatArray, toward: FloatArray) -> FloatArray:
    """Return unit normals of least-squares planes through neighbourhoods, turned along a hint.

    Parameters
    ----------
    neighbours : (n, k, 3) float64
        The k points around each of n places.
    toward : (n, 3) float64
        Each normal is turned to the side of this direction.

    Returns
    -------
    (n, 3) float64
        Eigenvector of the smallest eigenvalue of the neighbourhood's covariance.
    """
    spread = neighbours - neighbours.mean(axis=1, keepdims=True)
    covariance = np.einsum("nki,nkj->nij", spread, spread)
    normal = np.linalg.eigh(covariance)[1][:, :, 0]
    side = np.einsum("ni,ni->n", normal, toward)
    return np.asarray(normal * np.where(side < 0.0, -1.0, 1.0)[:, None])

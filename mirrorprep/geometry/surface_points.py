"""Points spread evenly over a triangle mesh."""

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


def surface_points(
    vertices: FloatArray, faces: IntArray, *, count: int, seed: int
) -> tuple[FloatArray, FloatArray]:
    """Return `count` points spread by area over the faces, and the faces' unit normals there.

    Systematic sampling along the summed area (one seeded start), then a seeded place in each triangle.
    Faces without area get no point.

    Returns
    -------
    points, normals : (count, 3) float64
        Positions and outward unit normals.

    Examples
    --------
    >>> corner = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0]])
    >>> points, normals = surface_points(corner, np.array([[0, 1, 2]]), count=4, seed=0)
    >>> points.shape, normals[0].tolist()
    ((4, 3), [0.0, 0.0, 1.0])
    """
    points, face, _ = surface_samples(vertices, faces, count=count, seed=seed)
    a, b, c = np.moveaxis(vertices[faces[face]], 1, 0)
    cross = np.cross(b - a, c - a)
    return points, cross / np.linalg.norm(cross, axis=1)[:, None]


def surface_samples(
    vertices: FloatArray, faces: IntArray, *, count: int, seed: int
) -> tuple[FloatArray, IntArray, FloatArray]:
    """Return the points of `surface_points` with the face of each and its barycentric coordinates there.

    Returns
    -------
    points : (count, 3) float64
    face : (count,) int64
    shares : (count, 3) float64
    """
    a, b, c = np.moveaxis(vertices[faces], 1, 0)
    twice = np.linalg.norm(np.cross(b - a, c - a), axis=1)
    rng = np.random.default_rng(seed)
    ladder = np.cumsum(twice)
    picks = (np.arange(count) + rng.random()) * (ladder[-1] / count)
    face = np.minimum(np.searchsorted(ladder, picks, side="right"), len(faces) - 1)
    r, s = np.sqrt(rng.random(count))[:, None], rng.random(count)[:, None]
    shares = np.concatenate([1.0 - r, r * (1.0 - s), r * s], axis=1)
    points = shares[:, :1] * a[face] + shares[:, 1:2] * b[face] + shares[:, 2:] * c[face]
    return points, face, shares

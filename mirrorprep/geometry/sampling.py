"""Area-stratified points on a triangle mesh."""

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


def stratified_points(
    vertices: FloatArray, faces: IntArray, areas: FloatArray, *, count: int, rng: np.random.Generator
) -> tuple[FloatArray, IntArray]:
    """Return points spread over the faces, one in each of `count` equal strata of the summed area.

    Parameters
    ----------
    vertices, faces : (n, 3) float64, (m, 3) int64
        The mesh.
    areas : (m,) float64
        Weight of each face, its area as a rule; a face of weight zero gets no point.
    count : int
        Number of points.
    rng : numpy.random.Generator
        Source of the random places.

    Returns
    -------
    points : (count, 3) float64
        Positions.
    face : (count,) int64
        The face each point lies on.

    Examples
    --------
    >>> square = np.array([[0.0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]])
    >>> halves = np.array([[0, 1, 2], [0, 2, 3]])
    >>> face = stratified_points(square, halves, np.array([0.5, 0.5]), count=10,
    ...                          rng=np.random.default_rng(0))[1]
    >>> np.bincount(face).tolist()
    [5, 5]
    """
    ladder = np.cumsum(areas)
    rungs = (np.arange(count) + rng.random(count)) * (ladder[-1] / count)
    face = np.searchsorted(ladder, rungs, side="right")
    face = np.minimum(face, np.searchsorted(ladder, ladder[-1]))
    root, along = np.sqrt(rng.random(count))[:, None], rng.random(count)[:, None]
    a, b, c = (vertices[faces[face, corner]] for corner in range(3))
    return (1.0 - root) * a + root * (1.0 - along) * b + root * along * c, face

"""Open edges of a mesh by position, whether its vertices are shared or repeated."""

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
_Hash = NDArray[np.uint64]

_MULTIPLIERS = np.array([0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0x165667B19E3779F9], dtype=np.uint64)


def position_hash(vertices: FloatArray) -> _Hash:
    """Return a 64-bit number per vertex that is equal for equal positions.

    Two of a million different positions share a number with probability 3e-8.

    Examples
    --------
    >>> a, b, c = position_hash(np.array([[0.0, 1, 2], [-0.0, 1, 2], [0, 2, 1]]))
    >>> bool(a == b), bool(a == c)
    (True, False)
    """
    bits = np.ascontiguousarray(vertices + 0.0).view(np.uint64)
    total = bits[:, 0] * _MULTIPLIERS[0]
    for axis in (1, 2):
        total = _mixed(total) + bits[:, axis] * _MULTIPLIERS[axis]
    return _mixed(total)


def _mixed(word: _Hash) -> _Hash:
    word = (word ^ (word >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    word = (word ^ (word >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return word ^ (word >> np.uint64(31))


def open_edges(vertices: FloatArray, faces: IntArray) -> IntArray:
    """Return the edges that belong to one face only, vertices at equal positions taken as one.

    Returns
    -------
    (k, 2) int64
        Face number and corner number of the start of each open edge; it runs to the next corner.

    Examples
    --------
    >>> soup = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]])
    >>> len(open_edges(soup, np.array([[0, 1, 2], [3, 4, 5]])))
    4
    """
    place = position_hash(vertices)[faces]
    edge = np.concatenate([place[:, i] + place[:, (i + 1) % 3] for i in range(3)])
    order = np.argsort(edge)
    ordered = edge[order]
    new = np.ones(len(ordered) + 1, dtype=bool)
    new[1:-1] = ordered[1:] != ordered[:-1]
    single = np.sort(order[new[1:] & new[:-1]])
    corner, face = np.divmod(single, len(faces))
    return np.stack([face, corner], axis=1)

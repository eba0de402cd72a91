"""Turning the triangles of a mesh the same way."""

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from mirrorprep.geometry.topology import half_edge_groups

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


def paired_half_edges(faces: IntArray) -> tuple[IntArray, IntArray, BoolArray]:
    """Return the half-edges that share an edge with exactly one other, and whether both run the same way.

    Returns
    -------
    one, other : (k,) int64
        Half-edge numbers: 3 × face + corner at which it starts.
    alike : (k,) bool
        True where the two faces disagree about their side.

    Examples
    --------
    >>> one, other, alike = paired_half_edges(np.array([[0, 1, 2], [0, 1, 3]]))
    >>> one.tolist(), other.tolist(), alike.tolist()
    ([0], [3], [True])
    """
    one, other = half_edge_groups(faces).pairs()
    start = faces.ravel()
    return one, other, np.asarray(start[one] == start[other])


def pieces(faces: IntArray, pairs: tuple[IntArray, IntArray, BoolArray] | None = None) -> IntArray:
    """Return a piece number for each face: pieces hang together through edges of exactly two triangles.

    The pairs may be given if known; turning faces does not change them.

    Examples
    --------
    >>> pieces(np.array([[0, 1, 2], [1, 0, 3], [2, 4, 5]])).tolist()
    [0, 0, 1]
    """
    one, other, _ = paired_half_edges(faces) if pairs is None else pairs
    return _components(one // 3, other // 3, len(faces))


def faces_to_flip(
    faces: IntArray, weights: FloatArray, pairs: tuple[IntArray, IntArray, BoolArray] | None = None
) -> BoolArray:
    """Return the faces to turn so that neighbours agree, the lighter part of each piece.

    Parameters
    ----------
    faces : (m, 3) int64
        Triangles.
    weights : (m,) float64
        Areas, to decide which part of a piece is turned.
    pairs : tuple, optional
        `paired_half_edges`, if known.

    Notes
    -----
    Faces that agree form regions; components of the two-fold cover of these, each region once as it is and
    once turned. A piece without two sides (a Möbius band) is left as it stands.

    Examples
    --------
    >>> faces_to_flip(np.array([[0, 1, 2], [0, 1, 3]]), np.array([2.0, 1.0])).tolist()
    [False, True]
    """
    return flips_and_pieces(faces, weights, paired_half_edges(faces) if pairs is None else pairs)[0]


def flips_and_pieces(
    faces: IntArray, weights: FloatArray, pairs: tuple[IntArray, IntArray, BoolArray]
) -> tuple[BoolArray, IntArray]:
    """Return `faces_to_flip` and `pieces` at once.

    Examples
    --------
    >>> faces = np.array([[0, 1, 2], [0, 1, 3]])
    >>> flip, piece = flips_and_pieces(faces, np.array([2.0, 1.0]), paired_half_edges(faces))
    >>> flip.tolist(), piece.tolist()
    ([False, True], [0, 0])
    """
    one, other, alike = pairs
    region = _components(one[~alike] // 3, other[~alike] // 3, len(faces))
    if not alike.any():
        return np.zeros(len(faces), dtype=bool), region
    one, other = region[one[alike] // 3], region[other[alike] // 3]
    weight = np.bincount(region, weights).astype(np.float64)
    return _lighter(one, other, weight)[region], _components(one, other, len(weight))[region]


def _lighter(one: IntArray, other: IntArray, weight: FloatArray) -> BoolArray:
    """Return the regions to turn so that none disagrees with a neighbour it disagreed with before."""
    count = len(weight)
    label = _components(np.concatenate([one, one + count]), np.concatenate([other + count, other]), 2 * count)
    plain, turned = label[:count], label[count:]
    low = np.minimum(plain, turned)
    as_low = np.bincount(low, weight * (plain < turned), int(label.max()) + 1)
    total = np.bincount(low, weight, int(label.max()) + 1)
    lighter = as_low[low] * 2.0 < total[low]
    flip = np.where(lighter, plain < turned, plain > turned)
    return np.asarray(flip & (plain != turned))


def _components(one: IntArray, other: IntArray, count: int) -> IntArray:
    graph = coo_array((np.ones(len(one), dtype=np.int8), (one, other)), shape=(count, count))
    return np.asarray(connected_components(graph, directed=False)[1], dtype=np.int64)

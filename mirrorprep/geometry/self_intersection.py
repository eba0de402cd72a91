"""Pairs of triangles of one mesh that meet where they should not."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from mirrorprep.geometry.box_pairs import boxes_near, overlapping_boxes
from mirrorprep.geometry.normals import unit
from mirrorprep.geometry.triangle_overlap import fans_meet, folded, triangles_meet

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

_SMOOTH_FAN: Final = 0.2


def self_intersections(vertices: FloatArray, faces: IntArray, *, among: BoolArray | None = None) -> IntArray:
    """Return all pairs of triangles that have more in common than their shared corners and edges.

    Parameters
    ----------
    vertices : (n, 3) float64
        Positions. Corners at the same place should share an index, or neighbours count as touching.
    faces : (m, 3) int64
        Triangles; those of zero area and exact repetitions of a triangle are left out of the search.
    among : (m,) bool, optional
        Report only pairs of which at least one triangle is marked.

    Returns
    -------
    (k, 2) int64
        Face numbers, the lower first, sorted.

    Notes
    -----
    Closed triangles: touching counts, and two triangles with a common corner meet when they meet elsewhere
    too. Triangles on a common edge are the matter of `folded_pairs`. All decisions are signs of determinants
    (`mirrorprep.geometry.orientation`). A corner whose triangles form one sheet over a plane, once around,
    needs no pair tests. About 3 s for a smooth mesh of a million triangles on one core.

    Examples
    --------
    >>> flat, upright = [[0, 0, 0], [2, 0, 0], [0, 2, 0]], [[0.5, 0.5, -1], [0.5, 0.5, 1], [3, 3, 0]]
    >>> self_intersections(np.array(flat + upright, dtype=float), np.array([[0, 1, 2], [3, 4, 5]])).tolist()
    [[0, 1]]
    """
    alive = np.flatnonzero(_has_area(vertices, faces))
    if among is not None:
        alive = alive[boxes_near(*_boxes(vertices, faces[alive]), among[alive])]
    mesh = _Mesh(vertices, faces[alive])
    marked = None if among is None else among[alive]
    low, high = _boxes(vertices, mesh.faces)
    found = [np.zeros((0, 2), dtype=np.int64)]
    for first, second in overlapping_boxes(low, high):
        keep = slice(None) if marked is None else marked[first] | marked[second]
        found.append(alive[mesh.meeting(first[keep], second[keep])])
    pairs = np.sort(np.concatenate(found), axis=1)
    return pairs[np.lexsort((pairs[:, 1], pairs[:, 0]))]


def folded_pairs(vertices: FloatArray, faces: IntArray) -> IntArray:
    """Return the pairs of triangles on a common edge of which one lies flat upon the other.

    Parameters
    ----------
    vertices : (n, 3) float64
        Positions.
    faces : (m, 3) int64
        Triangles. Around an edge of more than three, only those next in the list are compared.

    Returns
    -------
    (k, 2) int64
        Face numbers, the lower first, sorted.

    Examples
    --------
    >>> corners = np.array([[0.0, 0, 0], [2, 0, 0], [0, 2, 0], [1, 1, 0]])
    >>> folded_pairs(corners, np.array([[0, 1, 2], [1, 0, 3]])).tolist()
    [[0, 1]]
    """
    faces = np.asarray(faces)
    start, stop, wing = faces.ravel(), faces[:, [1, 2, 0]].ravel(), faces[:, [2, 0, 1]].ravel()
    keys = np.minimum(start, stop) * len(vertices) + np.maximum(start, stop)
    order = np.argsort(keys, kind="stable")
    keys = keys[order]
    rows = [np.flatnonzero(keys[step:] == keys[:-step]) for step in (1, 2)]
    one = np.concatenate([order[r] for r in rows])
    other = np.concatenate([order[r + step] for r, step in zip(rows, (1, 2), strict=True)])
    alive = _has_area(vertices, faces)
    keep = alive[one // 3] & alive[other // 3] & (wing[one] != wing[other])
    one, other = one[keep], other[keep]
    hit = folded(vertices[start[one]], vertices[stop[one]], vertices[wing[one]], vertices[wing[other]])
    pairs = np.sort(np.stack([one[hit] // 3, other[hit] // 3], axis=1), axis=1)
    return pairs[np.lexsort((pairs[:, 1], pairs[:, 0]))]


class _Mesh:
    def __init__(self, vertices: FloatArray, faces: IntArray) -> None:
        self.vertices = vertices
        self.faces = faces
        self.short = faces.astype(np.int32)
        self.plain = _plain_fans(vertices, faces)

    def meeting(self, first: IntArray, second: IntArray) -> IntArray:
        """Return those of the candidate pairs that meet, shape (k, 2)."""
        shared = self._shared(first, second)
        count = np.bitwise_count(shared)
        found = []
        for corners, test in ((0, self._apart), (1, self._fans)):
            rows = np.flatnonzero(count == corners)
            one, other = first[rows], second[rows]
            hit = test(one, other, shared[rows]) if len(rows) else np.zeros(0, dtype=bool)
            found.append(np.stack([one[hit], other[hit]], axis=1))
        return np.concatenate(found)

    def _shared(self, first: IntArray, second: IntArray) -> NDArray[np.uint16]:
        """Return a bit per pair of equal corners: bit 3 i + j where corner i equals corner j."""
        a, b = self.short[first], self.short[second]
        bits = np.zeros(len(first), dtype=np.uint16)
        for i in range(3):
            for j in range(3):
                bits |= (a[:, i] == b[:, j]).astype(np.uint16) << np.uint16(3 * i + j)
        return bits

    def _apart(self, first: IntArray, second: IntArray, _: NDArray[np.uint16]) -> BoolArray:
        return triangles_meet(self.vertices[self.faces[first]], self.vertices[self.faces[second]])

    def _fans(self, first: IntArray, second: IntArray, shared: NDArray[np.uint16]) -> BoolArray:
        place = np.log2(shared).astype(np.int64)
        apex = self.faces[first, place // 3]
        hit = np.zeros(len(first), dtype=bool)
        rows = np.flatnonzero(~self.plain[apex])
        step = np.array([1, 2])
        wings = [
            self.vertices[self.faces[face[rows, None], (corner[rows, None] + step) % 3]]
            for face, corner in ((first, place // 3), (second, place % 3))
        ]
        hit[rows] = fans_meet(self.vertices[apex[rows]], *wings)
        return hit


def _boxes(vertices: FloatArray, faces: IntArray) -> tuple[FloatArray, FloatArray]:
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    return np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)


def _has_area(vertices: FloatArray, faces: IntArray) -> BoolArray:
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    return np.asarray((np.cross(b - a, c - a) != 0.0).any(axis=1))


def _plain_fans(vertices: FloatArray, faces: IntArray) -> BoolArray:
    """Return the vertices whose triangles lie as one sheet over a plane, once around or less."""
    corners = [vertices[faces[:, k]] for k in range(3)]
    across = np.cross(corners[1] - corners[0], corners[2] - corners[0])
    normals = unit(np.asarray(across, dtype=np.float64))
    flat = faces.ravel()
    count = len(vertices)
    axis = np.stack([np.bincount(flat, np.repeat(normals[:, k], 3), count) for k in range(3)], axis=1)
    up_all = unit(axis.astype(np.float64))
    plain = np.ones(count, dtype=bool)
    turn = np.zeros(count)
    for k in range(3):
        apex = faces[:, k]
        up = up_all[apex]
        plain[apex[np.einsum("ij,ij->i", up, normals) < _SMOOTH_FAN]] = False
        u, v = corners[k - 2] - corners[k], corners[k - 1] - corners[k]
        rise_u, rise_v = np.einsum("ij,ij->i", up, u), np.einsum("ij,ij->i", up, v)
        level = np.einsum("ij,ij->i", u, v) - rise_u * rise_v
        turn += np.bincount(apex, np.arctan2(np.einsum("ij,ij->i", up, np.cross(u, v)), level), count)
    gaps = _gaps(faces, count)
    return np.asarray(plain & (gaps <= 1) & (turn + 0.02 * gaps < 2.0 * np.pi + 0.01))


def _gaps(faces: IntArray, count: int) -> IntArray:
    """Return how many open edges start at each vertex; two where an edge is used twice in one direction."""
    start, stop = faces.ravel(), faces[:, [1, 2, 0]].ravel()
    opposite = np.sort(start * count + stop)
    repeated = opposite[1:][opposite[1:] == opposite[:-1]]
    keys = stop * count + start
    place = np.minimum(np.searchsorted(opposite, keys), len(opposite) - 1)
    lonely = opposite[place] != keys if len(keys) else np.zeros(0, dtype=bool)
    gaps = np.bincount(start[lonely], minlength=count)
    gaps[repeated // count] = 2
    gaps[repeated % count] = 2
    return gaps

"""Pairs of triangles of one mesh that meet where they should not."""

from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from mirrorprep.geometry.box_pairs import boxes_near, overlapping_boxes
from mirrorprep.geometry.normals import doubled_areas, unit
from mirrorprep.geometry.triangle_overlap import fans_meet, folded, triangles_meet

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

_SMOOTH_FAN: Final = 0.2
_PIECES: Final = 10_000
_CUTS: Final = 256


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class MeetingPairs:
    """Pairs of triangles that have more in common than their shared corners and edges.

    Attributes
    ----------
    apart : (k, 2) int64
        Pairs without a common corner; the lower number first, sorted.
    cornered : (c, 2) int64
        Pairs with one common corner that meet elsewhere too, likewise.
    folded : (l, 2) int64
        Pairs on a common edge of which one lies flat upon the other, likewise.
    """

    apart: IntArray
    cornered: IntArray
    folded: IntArray

    @property
    def crossing(self) -> IntArray:
        """Pairs with at most one common corner."""
        return np.concatenate([self.apart, self.cornered])

    @property
    def all(self) -> IntArray:
        """All three kinds in this order."""
        return np.concatenate([self.apart, self.cornered, self.folded])


def meeting_pairs(vertices: FloatArray, faces: IntArray, *, among: BoolArray | None = None) -> MeetingPairs:
    """Return all pairs of triangles of one mesh that meet where they should not.

    Parameters
    ----------
    vertices : (n, 3) float64
        Positions. Corners at the same place should share an index, or neighbours count as touching.
    faces : (m, 3) int64
        Triangles; those of zero area and exact repetitions of a triangle are left out of the search.
    among : (m,) bool, optional
        Report only pairs of which at least one triangle is marked; takes time for their surroundings only.

    Returns
    -------
    MeetingPairs

    Notes
    -----
    Closed triangles: touching counts, and two triangles with a common corner meet when they meet elsewhere
    too. All decisions are signs of determinants (`mirrorprep.geometry.orientation`). A corner whose triangles
    form one sheet over a plane, once around, needs no pair tests. About 4 s for a smooth mesh of a million
    triangles on one core. Around an edge of more than three triangles, only those next but one in the list
    are compared for folds.

    Examples
    --------
    >>> flat, upright = [[0, 0, 0], [2, 0, 0], [0, 2, 0]], [[0.5, 0.5, -1], [0.5, 0.5, 1], [3, 3, 0]]
    >>> faces = np.array([[0, 1, 2], [3, 4, 5]])
    >>> meeting_pairs(np.array(flat + upright, dtype=float), faces).apart.tolist()
    [[0, 1]]
    """
    near = np.arange(len(faces)) if among is None else _near(vertices, faces, among)
    cross = doubled_areas(vertices, faces[near])
    area = (cross != 0.0).any(axis=1)
    if not area.all():
        near, cross = near[area], cross[area]
    with ThreadPoolExecutor(max_workers=1) as pool:
        mesh = _Mesh(vertices, faces[near], pool.submit(_plain_fans, vertices, faces[near], cross))
        return _meeting_pairs(mesh, near, among)


def _meeting_pairs(mesh: "_Mesh", near: IntArray, among: BoolArray | None) -> MeetingPairs:
    nothing = np.zeros((0, 2), dtype=np.int64)
    apart, cornered = [nothing], [nothing]
    for first, second in overlapping_boxes(*_boxes(mesh.vertices, mesh.faces)):
        keep = slice(None) if among is None else among[near[first]] | among[near[second]]
        for kind, found in zip((apart, cornered), mesh.meeting(first[keep], second[keep]), strict=True):
            kind.append(found)
    folds = mesh.folds()
    if among is not None:
        folds = folds[among[near[folds]].any(axis=1)]
    return MeetingPairs(
        apart=_sorted(near[np.concatenate(apart)]),
        cornered=_sorted(near[np.concatenate(cornered)]),
        folded=_sorted(near[folds]),
    )


def self_intersections(vertices: FloatArray, faces: IntArray, *, among: BoolArray | None = None) -> IntArray:
    """Return the crossing pairs of `meeting_pairs`, shape (k, 2).

    Examples
    --------
    >>> from mirrorprep.solid.primitives import sphere
    >>> ball = sphere(10.0).mesh
    >>> len(self_intersections(ball.vertices, ball.faces))
    0
    """
    return _sorted(meeting_pairs(vertices, faces, among=among).crossing)


def _sorted(pairs: IntArray) -> IntArray:
    ranked = np.sort(pairs, axis=1)
    return np.asarray(ranked[np.lexsort((ranked[:, 1], ranked[:, 0]))])


class _Mesh:
    def __init__(self, vertices: FloatArray, faces: IntArray, plain: Future[BoolArray]) -> None:
        self.vertices = vertices
        self.faces = faces
        self.short = faces.astype(np.int32)
        self._plain = plain

    @property
    def plain(self) -> BoolArray:
        """Vertices around which no pair needs a test; found meanwhile by another thread."""
        return self._plain.result()

    def meeting(self, first: IntArray, second: IntArray) -> list[IntArray]:
        """Return those of the candidate pairs that meet, without and with a common corner."""
        shared = self._shared(first, second)
        count = np.bitwise_count(shared)
        found = []
        for corners, test in ((0, self._apart), (1, self._fans)):
            rows = np.flatnonzero(count == corners)
            one, other = first[rows], second[rows]
            hit = test(one, other, shared[rows]) if len(rows) else np.zeros(0, dtype=bool)
            found.append(np.stack([one[hit], other[hit]], axis=1))
        return found

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

    def folds(self) -> IntArray:
        """Return the pairs on a common edge that lie flat upon each other."""
        faces = self.faces
        plain = self.plain
        rough = ~plain
        loose = np.flatnonzero((rough[faces] & rough[faces[:, [1, 2, 0]]]).ravel())
        face, corner = np.divmod(loose, 3)
        start, stop, wing = (faces[face, (corner + k) % 3] for k in range(3))
        keys = np.minimum(start, stop) * len(plain) + np.maximum(start, stop)
        order = np.argsort(keys, kind="stable")
        ranked = keys[order]
        rows = [np.flatnonzero(ranked[step:] == ranked[:-step]) for step in (1, 2)]
        one = np.concatenate([order[r] for r in rows])
        other = np.concatenate([order[r + step] for r, step in zip(rows, (1, 2), strict=True)])
        apart = wing[one] != wing[other]
        one, other = one[apart], other[apart]
        corners = (start[one], stop[one], wing[one], wing[other])
        hit = folded(*(self.vertices[c] for c in corners))
        return np.stack([face[one[hit]], face[other[hit]]], axis=1)


def _near(vertices: FloatArray, faces: IntArray, among: BoolArray) -> IntArray:
    """Return the faces that may meet a marked one, the marked ones included, and some more.

    The box of a long triangle is mostly empty: such are looked at in pieces no longer than the usual one.
    """
    pieces, short = vertices[faces[among]], []
    usual = _usual_extent(pieces)
    while len(pieces):
        long = np.ptp(pieces, axis=1).max(axis=1) > usual
        short.append(pieces[~long])
        pieces = _quarters(pieces[long])
    pieces = np.concatenate([*short, np.zeros((0, 3, 3))])
    low, high = _boxes(vertices, faces)
    marked = np.arange(len(pieces) + len(faces)) < len(pieces)
    found = boxes_near(
        np.concatenate([pieces.min(axis=1), low]), np.concatenate([pieces.max(axis=1), high]), marked
    )
    near = among.copy()
    near[found[found >= len(pieces)] - len(pieces)] = True
    return np.flatnonzero(near)


def _usual_extent(corners: FloatArray) -> float:
    """Return the median extent of some triangles, or a longer one so that their pieces are not too many."""
    if len(corners) == 0:
        return 0.0
    a, b, c = np.moveaxis(corners, 1, 0)
    area = float(np.linalg.norm(np.cross(b - a, c - a), axis=1).sum()) / 2.0
    extent = np.ptp(corners, axis=1).max(axis=1)
    return float(max(np.median(extent), 2.0 * np.sqrt(area / _PIECES), extent.max() / _CUTS))


def _quarters(corners: FloatArray) -> FloatArray:
    """Return triangles (k, 3, 3) cut in four at the middles of their sides."""
    a, b, c = np.moveaxis(corners, 1, 0)
    ab, bc, ca = (a + b) / 2.0, (b + c) / 2.0, (c + a) / 2.0
    parts = ((a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca))
    return np.concatenate([np.stack(part, axis=1) for part in parts])


def _boxes(vertices: FloatArray, faces: IntArray) -> tuple[FloatArray, FloatArray]:
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    return np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)


def _plain_fans(vertices: FloatArray, faces: IntArray, cross: FloatArray) -> BoolArray:
    """Return the vertices whose triangles lie as one sheet over a plane, once around or less.

    The cross product of two sides of each face is the same at all its corners.
    """
    corners = [vertices[faces[:, k]] for k in range(3)]
    normals = unit(cross)
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
        turn += np.bincount(apex, np.arctan2(np.einsum("ij,ij->i", up, cross), level), count)
    gaps = _gaps(faces, count)
    return np.asarray(plain & (gaps <= 1) & (turn + 0.02 * gaps < 2.0 * np.pi + 0.01))


def _gaps(faces: IntArray, count: int) -> IntArray:
    """Return how many open edges start at each vertex; two where an edge is used twice in one direction."""
    start, stop = faces.ravel(), faces[:, [1, 2, 0]].ravel()
    keys = (np.minimum(start, stop) * count + np.maximum(start, stop)) * 2 + (start > stop)
    keys.sort()
    edge = keys >> 1
    like_next = edge[1:] == edge[:-1]
    alone = np.ones(len(keys), dtype=bool)
    alone[1:] &= ~like_next
    alone[:-1] &= ~like_next
    low, high = np.divmod(edge[alone], count)
    gaps = np.bincount(np.where(keys[alone] & 1, high, low), minlength=count)
    crowded = like_next & (keys[1:] == keys[:-1])
    crowded[1:] |= like_next[1:] & like_next[:-1]
    low, high = np.divmod(edge[1:][crowded], count)
    gaps[low] = 2
    gaps[high] = 2
    return gaps

"""Refining the triangulation of a patch: split long edges, flip towards Delaunay, relax."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from mirrorprep.geometry.topology import edge_table

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

_SPLIT_AT: Final = 4.0 / 3.0
_MOST_ROUNDS: Final = 24
_MOST_FLIP_ROUNDS: Final = 60


def refine_patch(
    rim: FloatArray,
    faces: IntArray,
    target_mm: FloatArray,
    *,
    growth: float = 0.0,
    forbidden: IntArray | None = None,
) -> tuple[FloatArray, IntArray]:
    """Return a patch whose inner edges are about as long as wanted; its rim stays as it is.

    Parameters
    ----------
    rim : (n, 3) float64
        Vertices of a patch that has all of them on its rim.
    faces : (n - 2, 3) int64
        Its triangulation.
    target_mm : (n,) float64
        Wanted edge length at each vertex.
    growth : float
        By how much the wanted length grows per length away from the rim; 0 averages it between the ends.
    forbidden : (k, 2) int64, optional
        Pairs of rim vertices that no edge of the patch may join, because the mesh around has that edge.

    Returns
    -------
    vertices : (p, 3) float64
        The rim first, unmoved.
    faces : (q, 3) int64
        The same rim, wound the same way.

    Notes
    -----
    After P. Liepa, "Filling holes in meshes", Symposium on Geometry Processing 2003, but with edges split
    at their middles, all long ones at once, between rounds of Delaunay flips and relaxation.

    Examples
    --------
    >>> square = np.array([[0.0, 0, 0], [4, 0, 0], [4, 4, 0], [0, 4, 0]])
    >>> vertices, faces = refine_patch(square, np.array([[0, 1, 2], [0, 2, 3]]), np.full(4, 1.0))
    >>> len(vertices) > 12, bool(np.ptp(vertices[:, 2]) == 0.0)
    (True, True)
    """
    vertices, target = rim, target_mm
    taken = np.zeros((0, 2), dtype=np.int64) if forbidden is None else forbidden
    for _ in range(_MOST_ROUNDS):
        faces = flip_to_delaunay(vertices, faces, taken)
        long = _long_edges(vertices, faces, target)
        if len(long) == 0:
            break
        vertices, faces, target = _split(vertices, faces, target, long, growth)
        faces = flip_to_delaunay(vertices, faces, taken)
        vertices = relax(vertices, faces, len(rim), rounds=4)
    return vertices, flip_to_delaunay(vertices, faces, taken)


def relax(vertices: FloatArray, faces: IntArray, fixed: int, *, rounds: int) -> FloatArray:
    """Return the vertices from number `fixed` on moved to the mean of their neighbours, some rounds."""
    edges = edge_table(faces).edges
    count = len(vertices)
    both = np.concatenate([edges, edges[:, ::-1]])
    valence = np.maximum(np.bincount(both[:, 0], minlength=count), 1)
    moved = vertices.copy()
    for _ in range(rounds):
        for axis in range(3):
            mean = np.bincount(both[:, 0], moved[both[:, 1], axis], count) / valence
            moved[fixed:, axis] = mean[fixed:]
    return moved


def _long_edges(vertices: FloatArray, faces: IntArray, target: FloatArray) -> IntArray:
    table = edge_table(faces)
    ends = vertices[table.edges]
    length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
    long = ~table.open & (length > _SPLIT_AT * target[table.edges].mean(axis=1))
    return np.asarray(table.edges[long])


def _split(
    vertices: FloatArray, faces: IntArray, target: FloatArray, edges: IntArray, growth: float
) -> tuple[FloatArray, IntArray, FloatArray]:
    """Put a vertex in the middle of each edge and cut its triangles."""
    count = len(vertices)
    keys = edges[:, 0] * count + edges[:, 1]
    order = np.argsort(keys)
    ends = faces[:, [[0, 1], [1, 2], [2, 0]]]
    wanted = ends.min(axis=2) * count + ends.max(axis=2)
    place = np.minimum(np.searchsorted(keys[order], wanted), len(keys) - 1)
    middle = np.where(keys[order][place] == wanted, count + order[place], -1)
    pattern = (middle >= 0) @ np.array([1, 2, 4])
    parts = [faces[pattern == 0]]
    for number in range(1, 8):
        rows = np.flatnonzero(pattern == number)
        turn = {1: 0, 2: 1, 4: 2, 3: 0, 6: 1, 5: 2, 7: 0}[number]
        corner = (np.arange(3) + turn) % 3
        a, b, c = faces[rows][:, corner].T
        ab, bc, ca = middle[rows][:, corner].T
        if number in (1, 2, 4):
            cut = [(a, ab, c), (ab, b, c)]
        elif number == 7:
            cut = [(a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca)]
        else:
            cut = [(ab, b, bc), (a, ab, bc), (a, bc, c)]
        parts += [np.stack(triangle, axis=1) for triangle in cut]
    half = np.linalg.norm(vertices[edges[:, 1]] - vertices[edges[:, 0]], axis=1) / 2.0
    wanted_new = (
        (target[edges] + growth * half[:, None]).min(axis=1) if growth else target[edges].mean(axis=1)
    )
    new = vertices[edges].mean(axis=1)
    return np.concatenate([vertices, new]), np.concatenate(parts), np.append(target, wanted_new)


def flip_to_delaunay(
    vertices: FloatArray, faces: IntArray, forbidden: IntArray, *, thinner_than: float | None = None
) -> IntArray:
    """Return the faces with inner edges flipped where the angles opposite them sum to more than 180°.

    Parameters
    ----------
    vertices, faces : (n, 3) float64, (m, 3) int64
        A patch without edges of more than two faces.
    forbidden : (k, 2) int64
        Pairs of vertices that must not be joined.
    thinner_than : float, optional
        Flip only edges of triangles whose least height is less than this share of their longest side.

    Examples
    --------
    >>> kite = np.array([[0.0, 0, 0], [4, 0, 0], [2, 1, 0], [2, -1, 0]])
    >>> flipped = flip_to_delaunay(kite, np.array([[0, 1, 2], [1, 0, 3]]), np.zeros((0, 2), dtype=int))
    >>> sorted(map(sorted, flipped.tolist()))
    [[0, 2, 3], [1, 2, 3]]
    """
    count = len(vertices)
    banned = np.sort(forbidden, axis=1) @ np.array([count, 1]) if len(forbidden) else np.zeros(0, np.int64)
    faces = faces.copy()
    for _ in range(_MOST_FLIP_ROUNDS):
        table = edge_table(faces)
        face, corner = _sides(table.of_face, table.uses == 2)
        a, b = faces[face[:, 0], corner[:, 0]], faces[face[:, 0], (corner[:, 0] + 1) % 3]
        c, d = (faces[face[:, k], (corner[:, k] + 2) % 3] for k in range(2))
        gain = _gain(vertices, a, b, c, d)
        if thinner_than is not None:
            gain[~(_thinness(vertices, faces) < thinner_than)[face].any(axis=1)] = -1.0
        joined = np.minimum(c, d) * count + np.maximum(c, d)
        existing = np.concatenate([table.edges @ np.array([count, 1]), banned])
        wanted = np.flatnonzero((gain > 1e-9) & ~np.isin(joined, existing))
        chosen = _independent(wanted, gain, joined, face, len(faces))
        if len(chosen) == 0:
            break
        a, b, c, d = (x[chosen] for x in (a, b, c, d))
        faces[face[chosen, 0]] = np.stack([c, a, d], axis=1)
        faces[face[chosen, 1]] = np.stack([d, b, c], axis=1)
    return faces


def _sides(of_face: IntArray, inner: BoolArray) -> tuple[IntArray, IntArray]:
    """Return the two faces of each inner edge and the corners at which it starts in them, shape (k, 2)."""
    flat = of_face.ravel()
    order = np.argsort(flat, kind="stable")
    order = order[inner[flat[order]]].reshape(-1, 2)
    return order // 3, order % 3


def _gain(vertices: FloatArray, a: IntArray, b: IntArray, c: IntArray, d: IntArray) -> FloatArray:
    """Return by how much the angles opposite an edge exceed 180°; negative where a flip would fold."""
    pa, pb, pc, pd = (vertices[i] for i in (a, b, c, d))
    excess = _angle(pc, pa, pb) + _angle(pd, pa, pb) - np.pi
    old = np.cross(pb - pa, pc - pa) + np.cross(pa - pb, pd - pb)
    first, second = np.cross(pa - pc, pd - pc), np.cross(pb - pd, pc - pd)
    folds = (np.einsum("ij,ij->i", first, old) <= 0.0) | (np.einsum("ij,ij->i", second, old) <= 0.0)
    return np.asarray(np.where(folds, -1.0, excess))


def _thinness(vertices: FloatArray, faces: IntArray) -> FloatArray:
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    longest = np.max([np.einsum("ij,ij->i", e, e) for e in (b - a, c - b, a - c)], axis=0)
    height = np.linalg.norm(np.cross(b - a, c - a), axis=1)
    return np.asarray(np.divide(height, longest, out=np.zeros_like(height), where=longest > 0.0))


def _angle(apex: FloatArray, p: FloatArray, q: FloatArray) -> FloatArray:
    u, v = p - apex, q - apex
    return np.asarray(np.arctan2(np.linalg.norm(np.cross(u, v), axis=1), np.einsum("ij,ij->i", u, v)))


def _independent(
    wanted: IntArray, gain: FloatArray, joined: IntArray, face: IntArray, face_count: int
) -> IntArray:
    """Return those wanted flips that are the best of both their faces, each new edge once."""
    ranked = wanted[np.argsort(gain[wanted], kind="stable")]
    best = np.full(face_count, -1, dtype=np.int64)
    best[face[ranked, 0]] = ranked
    other = np.full(face_count, -1, dtype=np.int64)
    other[face[ranked, 1]] = ranked
    rank = np.full(len(gain) + 1, -1, dtype=np.int64)
    rank[ranked] = np.arange(len(ranked))
    top = np.maximum(rank[best], rank[other])
    chosen = ranked[(top[face[ranked, 0]] == rank[ranked]) & (top[face[ranked, 1]] == rank[ranked])]
    return np.asarray(chosen[np.unique(joined[chosen], return_index=True)[1]])

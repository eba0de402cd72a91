"""Points and segments in which the triangles of a mesh cross, named so that all triangles agree on them."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from mirrorprep.geometry.orientation import orientation_3d

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]
Signs = NDArray[np.int8]

_NO_EDGE: Final = -1


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Crossings:
    """Where pairs of triangles cross.

    Attributes
    ----------
    points : (p, 3) float64
        Places where an edge pierces a triangle.
    edge : (p, 2) int64
        The piercing edge, the lower vertex first.
    along : (p,) float64
        Place on the edge, 0 at the lower vertex and 1 at the other.
    face : (p,) int64
        The pierced triangle.
    pairs : (k, 2) int64
        Triangles that cross.
    ends : (k, 2) int64
        The ends of their common segment: a row of `points`, or −1 − v for the vertex v they share.
    unclear : (u, 2) int64
        Pairs that only touch, lie in one plane or otherwise do not cross in a plain segment.
    """

    points: FloatArray
    edge: IntArray
    along: FloatArray
    face: IntArray
    pairs: IntArray
    ends: IntArray
    unclear: IntArray


def crossings(vertices: FloatArray, faces: IntArray, pairs: IntArray) -> Crossings:
    """Return the segments in which pairs of triangles cross.

    Parameters
    ----------
    vertices, faces : (n, 3) float64, (m, 3) int64
        The mesh.
    pairs : (k, 2) int64
        Pairs of faces from `mirrorprep.geometry.self_intersection.self_intersections`.

    Notes
    -----
    Which edge pierces which triangle is decided by exact signs; only the place is computed, once per edge
    and triangle, so that neighbouring triangles get the very same point.

    Examples
    --------
    >>> flat, upright = [[0, 0, 0], [2, 0, 0], [0, 2, 0]], [[0.5, 0.5, -1], [0.5, 0.5, 1], [0.5, 5, 0.3]]
    >>> faces = np.arange(6).reshape(2, 3)
    >>> found = crossings(np.array(flat + upright, dtype=float), faces, np.array([[0, 1]]))
    >>> found.points.round(3).tolist()
    [[0.5, 1.5, 0.0], [0.5, 0.5, 0.0]]
    """
    turned = _shared_first(faces, pairs)
    a, b = turned[:, 0], turned[:, 1]
    shared = a[:, 0] == b[:, 0]
    edge_a, edge_b, clear = _piercing(vertices, a, b, shared)
    hits = edge_a.sum(axis=1) + edge_b.sum(axis=1)
    clear &= hits == np.where(shared, 1, 2)
    rows_a, side_a = np.nonzero(edge_a & clear[:, None])
    rows_b, side_b = np.nonzero(edge_b & clear[:, None])
    row = np.concatenate([rows_a, rows_b])
    edge = np.concatenate([_edge(a, rows_a, side_a), _edge(b, rows_b, side_b)])
    face = np.concatenate([pairs[rows_a, 1], pairs[rows_b, 0]])
    names, number = np.unique(np.column_stack([edge, face]), axis=0, return_inverse=True)
    order = np.argsort(row, kind="stable")
    row, number = row[order], number.reshape(-1)[order]
    ends = np.full((len(pairs), 2), _NO_EDGE, dtype=np.int64)
    ends[shared, 0] = -1 - a[shared, 0]
    first = np.append(True, row[1:] != row[:-1]) & ~shared[row]
    ends[row, np.where(first, 0, 1)] = number
    along = _along(vertices, names[:, :2], faces[names[:, 2]])
    start, stop = vertices[names[:, 0]], vertices[names[:, 1]]
    return Crossings(
        points=start + along[:, None] * (stop - start),
        edge=names[:, :2],
        along=along,
        face=names[:, 2],
        pairs=pairs[clear],
        ends=ends[clear],
        unclear=pairs[~clear],
    )


def _shared_first(faces: IntArray, pairs: IntArray) -> IntArray:
    """Return the corners of both triangles of each pair, turned so that a shared corner comes first."""
    a, b = faces[pairs[:, 0]], faces[pairs[:, 1]]
    same = a[:, :, None] == b[:, None, :]
    turns = [np.where(same.any(axis=(1, 2)), same.any(axis=axis).argmax(axis=1), 0) for axis in (2, 1)]
    step = np.arange(3)
    return np.stack(
        [np.take_along_axis(f, (t[:, None] + step) % 3, axis=1) for f, t in zip((a, b), turns, strict=True)],
        axis=1,
    )


def _piercing(
    vertices: FloatArray, a: IntArray, b: IntArray, shared: BoolArray
) -> tuple[BoolArray, BoolArray, BoolArray]:
    """Return which sides 0-1, 1-2, 2-0 of each triangle pierce the other, and where no sign was zero."""
    pa, pb = vertices[a], vertices[b]
    sign_a = np.stack([orientation_3d(pb[:, 0], pb[:, 1], pb[:, 2], pa[:, k]) for k in range(3)], axis=1)
    sign_b = np.stack([orientation_3d(pa[:, 0], pa[:, 1], pa[:, 2], pb[:, k]) for k in range(3)], axis=1)
    turns = np.empty((len(a), 3, 3), dtype=np.int8)
    for i in range(3):
        for j in range(3):
            turns[:, i, j] = orientation_3d(pa[:, i], pa[:, i - 2], pb[:, j], pb[:, j - 2])
    clear = ((sign_a != 0).sum(axis=1) == 3 - shared) & ((sign_b != 0).sum(axis=1) == 3 - shared)
    usable = np.ones((len(a), 3), dtype=bool)
    usable[shared] = [False, True, False]
    within_b = (turns > 0).all(axis=2) | (turns < 0).all(axis=2)
    within_a = (turns > 0).all(axis=1) | (turns < 0).all(axis=1)
    edge_a = usable & within_b & (sign_a * np.roll(sign_a, -1, axis=1) < 0)
    edge_b = usable & within_a & (sign_b * np.roll(sign_b, -1, axis=1) < 0)
    return edge_a, edge_b, clear


def _edge(corners: IntArray, rows: IntArray, side: IntArray) -> IntArray:
    ends = np.stack([corners[rows, side], corners[rows, (side + 1) % 3]], axis=1)
    return np.sort(ends, axis=1)


def _along(vertices: FloatArray, edges: IntArray, faces: IntArray) -> FloatArray:
    """Return where each edge meets the plane of its triangle, from 0 to 1."""
    p, q, r = (vertices[faces[:, k]] for k in range(3))
    normal = np.cross(q - p, r - p)
    low = np.einsum("ij,ij->i", vertices[edges[:, 0]] - p, normal)
    high = np.einsum("ij,ij->i", vertices[edges[:, 1]] - p, normal)
    span = low - high
    return np.asarray(np.clip(np.divide(low, span, out=np.full_like(low, 0.5), where=span != 0.0), 0.0, 1.0))

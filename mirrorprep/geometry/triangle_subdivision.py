"""Cutting one triangle along segments: a constrained triangulation by greedy shortest edges."""

from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from mirrorprep.geometry.orientation import orientation_2d

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

MOST_POINTS: Final = 600
"""A triangle with more points on it is not cut."""


def subdivide(points: FloatArray, sides: list[list[int]], segments: IntArray) -> IntArray | None:
    """Return a triangulation of all points that contains the segments, or None where rounding forbids it.

    Parameters
    ----------
    points : (k, 2) float64
        Places in the triangle's plane, the three corners first, counter-clockwise.
    sides : three lists of int
        Points on the sides 0-1, 1-2 and 2-0 in order, both corners included.
    segments : (s, 2) int64
        Pairs of points to be joined; they may meet at points only.

    Returns
    -------
    (t, 3) int64 or None
        Counter-clockwise triangles; their number follows from that of the points (Euler's formula) and is
        checked.

    Examples
    --------
    >>> corners = np.array([[0.0, 0], [4, 0], [0, 4], [1, 1], [2, 1]])
    >>> cut = subdivide(corners, [[0, 1], [1, 2], [2, 0]], np.array([[3, 4]]))
    >>> len(cut), sum({3, 4} <= set(face) for face in cut.tolist())
    (5, 2)
    """
    count = len(points)
    if count > MOST_POINTS:
        return None
    border = np.array([edge for side in sides for edge in pairwise(side)], dtype=np.int64)
    fixed = np.unique(np.sort(np.concatenate([border, segments]), axis=1), axis=0)
    first, second = np.triu_indices(count, 1)
    same_side = np.zeros((count, count), dtype=bool)
    for side in sides:
        same_side[np.ix_(side, side)] = True
    free = ~same_side[first, second]
    key = first * count + second
    free &= ~np.isin(key, fixed @ np.array([count, 1]))
    length = np.linalg.norm(points[first] - points[second], axis=1)
    order = np.flatnonzero(free)[np.argsort(length[free], kind="stable")]
    candidates = np.stack([first[order], second[order]], axis=1)
    edges = list(map(tuple, fixed.tolist()))
    for edge in fixed:
        candidates = candidates[~_crosses(points, candidates, edge)]
    while len(candidates):
        edges.append((int(candidates[0, 0]), int(candidates[0, 1])))
        candidates = candidates[1:][~_crosses(points, candidates[1:], candidates[0])]
    faces = _triangles(points, edges)
    return faces if len(faces) == 2 * count - 2 - len(border) else None


def _crosses(points: FloatArray, edges: IntArray, other: IntArray) -> BoolArray:
    """Return which edges cross the other one, or run through one of its ends."""
    a, b = points[edges[:, 0]], points[edges[:, 1]]
    c, d = (np.broadcast_to(points[end], a.shape) for end in other)
    ac, ad = orientation_2d(a, b, c), orientation_2d(a, b, d)
    ca, cb = orientation_2d(c, d, a), orientation_2d(c, d, b)
    touching = (edges[:, :, None] == other).any(axis=(1, 2))
    proper = (ac * ad <= 0) & (ca * cb <= 0) & ~touching
    return np.asarray(proper | (touching & _overlaps(a, b, c, d, (ac == 0) & (ad == 0))))


def _overlaps(a: FloatArray, b: FloatArray, c: FloatArray, d: FloatArray, in_line: BoolArray) -> BoolArray:
    """Return which edges in line with another, sharing an end, lie on the same side of that end."""
    hit = in_line.copy()
    for row in np.flatnonzero(in_line):
        p, q, r, s = a[row], b[row], c[row], d[row]
        shared = p if (p == r).all() or (p == s).all() else q
        u = q if shared is p else p
        v = s if (shared == r).all() else r
        hit[row] = float((u - shared) @ (v - shared)) > 0.0
    return hit


def _triangles(points: FloatArray, edges: list[tuple[int, int]]) -> IntArray:
    """Return the faces of a plane graph, provided all are triangles run counter-clockwise."""
    ends = np.array(edges, dtype=np.int64)
    start, stop = np.concatenate([ends, ends[:, ::-1]]).T
    ray = points[stop] - points[start]
    order = np.lexsort((np.arctan2(ray[:, 1], ray[:, 0]), start))
    start, stop = start[order], stop[order]
    groups = np.searchsorted(start, np.arange(len(points) + 1))
    place = {(int(s), int(t)): i for i, (s, t) in enumerate(zip(start, stop, strict=True))}
    following = np.empty(len(start), dtype=np.int64)
    for i, (s, t) in enumerate(zip(start.tolist(), stop.tolist(), strict=True)):
        back = place[t, s]
        low, high = groups[t], groups[t + 1]
        following[i] = back - 1 if back > low else high - 1
    third = following[following]
    whole = following[third] == np.arange(len(start))
    corners = np.stack([start, stop, start[third]], axis=1)
    keep = whole & (corners[:, 0] == corners.min(axis=1))
    corners = corners[keep]
    a, b, c = (points[corners[:, k]] for k in range(3))
    return np.asarray(corners[orientation_2d(a, b, c) > 0])

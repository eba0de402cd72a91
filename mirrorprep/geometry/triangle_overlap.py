"""Whether two triangles in space meet: signs only, no constructed points."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from mirrorprep.geometry.orientation import orientation_2d, orientation_3d

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]
Signs = NDArray[np.int8]

_PLANE_FILTER: Final = 1e-14


def triangles_meet(first: FloatArray, second: FloatArray) -> BoolArray:
    """Return where two triangles without a common corner have a point in common.

    Parameters
    ----------
    first, second : (n, 3, 3) float64
        Corners of the triangles, none of zero area; touching counts as meeting.

    Returns
    -------
    (n,) bool

    Notes
    -----
    Corners wholly on one side of the other's plane part most pairs; of the rest those meet whose edge
    pierces the other triangle. Coplanar pairs are parted by a separating edge.

    Examples
    --------
    >>> flat = np.array([[[0.0, 0, 0], [2, 0, 0], [0, 2, 0]]])
    >>> upright = np.array([[[0.5, 0.5, -1], [0.5, 0.5, 1], [3, 3, 0]]])
    >>> triangles_meet(flat, upright).tolist(), triangles_meet(flat, upright + [2, 2, 0]).tolist()
    ([True], [False])
    """
    meets = np.zeros(len(first), dtype=bool)
    rows = np.flatnonzero(~(_clear_of_plane(first, second) | _clear_of_plane(second, first)))
    a, b = first[rows], second[rows]
    sign_b, sign_a = _sides(a, b), _sides(b, a)
    apart = _one_sided(sign_b) | _one_sided(sign_a)
    flat = ~apart & (sign_b == 0).all(axis=1)
    crossing = ~apart & ~flat
    meets[rows[crossing]] = _cross(a[crossing], b[crossing], sign_a[crossing], sign_b[crossing])
    meets[rows[flat]] = _meet_in_plane(a[flat], b[flat])
    return meets


def fans_meet(apex: FloatArray, first: FloatArray, second: FloatArray) -> BoolArray:
    """Return where two triangles with one common corner meet elsewhere too.

    Parameters
    ----------
    apex : (n, 3) float64
        The common corner.
    first, second : (n, 2, 3) float64
        The other two corners of each triangle; no triangle of zero area.

    Returns
    -------
    (n,) bool

    Notes
    -----
    Seen from the apex the triangles are two arcs; the triangles meet elsewhere exactly where the arcs meet.

    Examples
    --------
    >>> wide = np.array([[[1.0, -1, 0], [1, 1, 0]]])
    >>> upright = np.array([[[1.0, 0, -1], [1, 0, 1]]])
    >>> apex = np.zeros((1, 3))
    >>> fans_meet(apex, wide, upright).tolist(), fans_meet(apex, wide, -upright).tolist()
    ([True], [False])
    """
    a1, a2, b1, b2 = first[:, 0], first[:, 1], second[:, 0], second[:, 1]
    sign_b = np.stack([orientation_3d(apex, a1, a2, p) for p in (b1, b2)], axis=1)
    sign_a = np.stack([orientation_3d(apex, b1, b2, p) for p in (a1, a2)], axis=1)
    flat = (sign_b == 0).all(axis=1) | (sign_a == 0).all(axis=1)
    apart = _one_sided(sign_b) | _one_sided(sign_a)
    turn_a = np.sign(sign_a[:, 0] - sign_a[:, 1])
    turn_b = np.sign(sign_b[:, 0] - sign_b[:, 1])
    meets = np.asarray(~flat & ~apart & (turn_a == -turn_b), dtype=bool)
    rows = np.flatnonzero(flat)
    if len(rows):
        meets[rows] = _sectors_meet(*_in_plane(apex[rows], a1[rows], a2[rows], b1[rows], b2[rows]))
    return meets


def folded(start: FloatArray, stop: FloatArray, left: FloatArray, right: FloatArray) -> BoolArray:
    """Return where two triangles on a common edge lie in one plane on the same side of it.

    Parameters
    ----------
    start, stop, left, right : (n, 3) float64
        Ends of the common edge and the third corner of each triangle.

    Examples
    --------
    >>> p = [np.array([q], dtype=float) for q in ([0, 0, 0], [1, 0, 0], [0, 1, 0], [1, 2, 0], [1, -2, 0])]
    >>> folded(*p[:4]).tolist(), folded(*p[:3], p[4]).tolist()
    ([True], [False])
    """
    found = np.zeros(len(start), dtype=bool)
    normal_l = np.cross(stop - start, left - start)
    normal_r = np.cross(stop - start, right - start)
    rows = np.flatnonzero(np.einsum("ij,ij->i", normal_l, normal_r) > 0.0)
    rows = rows[orientation_3d(start[rows], stop[rows], left[rows], right[rows]) == 0]
    if len(rows):
        a, b, c, d = _in_plane(start[rows], stop[rows], left[rows], right[rows])
        found[rows] = orientation_2d(a, b, c) == orientation_2d(a, b, d)
    return found


def _clear_of_plane(base: FloatArray, other: FloatArray) -> BoolArray:
    """Where all corners of `other` lie on one side of the plane of `base` by far more than rounding."""
    origin = base[:, :1]
    edges, rays = base[:, 1:] - origin, other - origin
    normal = np.cross(edges[:, 0], edges[:, 1])
    height = np.einsum("nkj,nj->nk", rays, normal)
    size = np.abs(edges).max(axis=(1, 2)) ** 2 * np.abs(rays).max(axis=(1, 2))
    slack = _PLANE_FILTER * size
    return np.asarray((height.min(axis=1) > slack) | (height.max(axis=1) < -slack))


def _sides(base: FloatArray, other: FloatArray) -> Signs:
    a, b, c = base[:, 0], base[:, 1], base[:, 2]
    return np.stack([orientation_3d(a, b, c, other[:, k]) for k in range(3)], axis=1)


def _one_sided(signs: Signs) -> BoolArray:
    return np.asarray((signs > 0).all(axis=1) | (signs < 0).all(axis=1))


def _cross(a: FloatArray, b: FloatArray, sign_a: Signs, sign_b: Signs) -> BoolArray:
    """Whether an edge of one pierces the other; an edge in the other's plane is left to its neighbours."""
    turns = np.empty((len(a), 3, 3), dtype=np.int8)
    for i in range(3):
        for j in range(3):
            turns[:, i, j] = orientation_3d(a[:, i], a[:, i - 2], b[:, j], b[:, j - 2])
    within_b = (turns >= 0).all(axis=2) | (turns <= 0).all(axis=2)
    within_a = (turns >= 0).all(axis=1) | (turns <= 0).all(axis=1)
    return np.asarray(
        (within_b & _straddles(sign_a)).any(axis=1) | (within_a & _straddles(sign_b)).any(axis=1)
    )


def _straddles(signs: Signs) -> BoolArray:
    """Where the edges 0-1, 1-2, 2-0 have their ends on different sides, at most one in the plane."""
    ends = np.roll(signs, -1, axis=1)
    return np.asarray(signs != ends) & (signs * ends <= 0)


def _in_plane(*points: FloatArray) -> list[FloatArray]:
    """Drop the axis along which the common plane of the points is seen largest."""
    base = points[0]
    normals = np.stack([np.cross(p - base, q - base) for p in points[1:] for q in points[1:]])
    axis = np.argmax(np.abs(normals).max(axis=0), axis=1)
    kept = np.array([[1, 2], [2, 0], [0, 1]])[axis]
    return [np.take_along_axis(p, kept, axis=1) for p in points]


def _meet_in_plane(a: FloatArray, b: FloatArray) -> BoolArray:
    if len(a) == 0:
        return np.zeros(0, dtype=bool)
    points = _in_plane(*np.moveaxis(a, 1, 0), *np.moveaxis(b, 1, 0))
    return ~(_has_separating_edge(points[:3], points[3:]) | _has_separating_edge(points[3:], points[:3]))


def _has_separating_edge(triangle: list[FloatArray], other: list[FloatArray]) -> BoolArray:
    turn = orientation_2d(*triangle)
    outside = [
        np.logical_and.reduce([orientation_2d(triangle[k - 1], triangle[k], p) == -turn for p in other])
        for k in range(3)
    ]
    return np.asarray(np.logical_or.reduce(outside))


def _sectors_meet(
    apex: FloatArray, a1: FloatArray, a2: FloatArray, b1: FloatArray, b2: FloatArray
) -> BoolArray:
    return _in_sector(apex, a1, a2, b1) | _in_sector(apex, a1, a2, b2) | _in_sector(apex, b1, b2, a1)


def _in_sector(apex: FloatArray, start: FloatArray, stop: FloatArray, point: FloatArray) -> BoolArray:
    turn = orientation_2d(apex, start, stop)
    return (orientation_2d(apex, start, point) * turn >= 0) & (orientation_2d(apex, point, stop) * turn >= 0)

"""Triangulating the polygon around a hole with the least area."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

MOST_CORNERS: Final = 240
"""Of longer polygons every few corners are triangulated first, then what lies between them."""

_FORBIDDEN: Final = 1e6


def minimal_area_triangulation(points: FloatArray, *, forbidden: IntArray | None = None) -> IntArray:
    """Return triangles over a closed polygon in space whose summed area is least.

    Parameters
    ----------
    points : (n, 3) float64
        Corners in order.
    forbidden : (k, 2) int64, optional
        Pairs of corners that must not be joined, because the mesh around already joins them.

    Returns
    -------
    (n - 2, 3) int64
        Corner numbers, wound as the polygon. Where every triangulation joins a forbidden pair, the cheapest
        of those is given.

    Notes
    -----
    Dynamic programming over the polygon's chords: G. Barequet and M. Sharir, "Filling gaps in the boundary
    of a polyhedron", Computer Aided Geometric Design 12 (1995) 207-229. Time grows with n³; of a polygon of
    more than `MOST_CORNERS` every few corners come first, so that the area is least within each part only.
    The triangles may cross if the polygon is badly knotted.

    Examples
    --------
    >>> bent = np.array([[0.0, 0, 0], [3, 0, 0], [4, 2, 1], [0, 1, 0]])
    >>> minimal_area_triangulation(bent).tolist()
    [[0, 1, 3], [1, 2, 3]]
    """
    count = len(points)
    penalty = np.zeros((count, count))
    if forbidden is not None and len(forbidden):
        penalty[forbidden[:, 0], forbidden[:, 1]] = penalty[forbidden[:, 1], forbidden[:, 0]] = _FORBIDDEN
    coarse = _coarse(count, penalty)
    parts = [coarse[_least_area(points[coarse], penalty[np.ix_(coarse, coarse)])]]
    for start, stop in zip(coarse, np.append(coarse[1:], count), strict=True):
        if stop - start > 1:
            ring = np.arange(start, stop + 1) % count
            parts.append(ring[_least_area(points[ring], penalty[np.ix_(ring, ring)])])
    return np.concatenate(parts)


def _coarse(count: int, penalty: FloatArray) -> IntArray:
    """Return corners evenly spread over the polygon such that no two in a row are forbidden to be joined."""
    chosen, stride = [0], count / min(count, MOST_CORNERS)
    while True:
        after = max(chosen[-1] + 1, round(len(chosen) * stride))
        while after < count and after - chosen[-1] > 1 and penalty[chosen[-1], after]:
            after += 1
        if after >= count:
            break
        chosen.append(after)
    while len(chosen) > 3 and count - chosen[-1] > 1 and penalty[chosen[-1], 0]:
        chosen.pop()
    return np.array(chosen, dtype=np.int64)


def _least_area(points: FloatArray, penalty: FloatArray) -> IntArray:
    count = len(points)
    if count < 3:
        return np.zeros((0, 3), dtype=np.int64)
    cost = np.zeros((count, count))
    penalty = penalty * max(float(np.ptp(points, axis=0).max()), 1e-300) ** 2
    apex = np.zeros((count, count), dtype=np.int64)
    for gap in range(2, count):
        start = np.arange(count - gap)
        stop = start + gap
        middle = start[:, None] + np.arange(1, gap)
        area = _areas(points[start][:, None], points[middle], points[stop][:, None])
        total = cost[start[:, None], middle] + cost[middle, stop[:, None]] + area
        best = np.argmin(total, axis=1)
        cost[start, stop] = total[start, best] + penalty[start, stop]
        apex[start, stop] = middle[start, best]
    triangles, spans = [], [(0, count - 1)]
    while spans:
        low, high = spans.pop()
        if high - low >= 2:
            peak = int(apex[low, high])
            triangles.append((low, peak, high))
            spans += [(low, peak), (peak, high)]
    return np.array(triangles, dtype=np.int64)


def _areas(a: FloatArray, b: FloatArray, c: FloatArray) -> FloatArray:
    x, y = b - a, c - a
    square = np.einsum("...i,...i->...", x, x) * np.einsum("...i,...i->...", y, y)
    return np.asarray(np.sqrt(np.maximum(square - np.einsum("...i,...i->...", x, y) ** 2, 0.0)) / 2.0)

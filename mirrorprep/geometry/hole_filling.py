"""Triangulating the polygon around a hole with the least area."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

MOST_CORNERS: Final = 240
"""Longer polygons are first cut in two along their shortest sensible chord."""


def minimal_area_triangulation(points: FloatArray) -> IntArray:
    """Return triangles over a closed polygon in space whose summed area is least.

    Parameters
    ----------
    points : (n, 3) float64
        Corners in order.

    Returns
    -------
    (n - 2, 3) int64
        Corner numbers, wound as the polygon.

    Notes
    -----
    Dynamic programming over the polygon's chords: G. Barequet and M. Sharir, "Filling gaps in the boundary
    of a polyhedron", Computer Aided Geometric Design 12 (1995) 207-229. Time grows with n³; a polygon of more
    than `MOST_CORNERS` is cut first, so that its triangulation is the least within each part only. The
    triangles may cross if the polygon is badly knotted.

    Examples
    --------
    >>> bent = np.array([[0.0, 0, 0], [3, 0, 0], [3, 1, 1], [0, 1, 1]])
    >>> minimal_area_triangulation(bent).tolist()
    [[0, 1, 2], [0, 2, 3]]
    """
    rings = [np.arange(len(points))]
    parts = []
    while rings:
        ring = rings.pop()
        if len(ring) > MOST_CORNERS:
            start, stop = _shortest_chord(points[ring])
            rings += [ring[start : stop + 1], np.concatenate([ring[stop:], ring[: start + 1]])]
        else:
            parts.append(ring[_least_area(points[ring])])
    return np.concatenate(parts)


def _shortest_chord(points: FloatArray) -> tuple[int, int]:
    """Return the chord that is short for the boundary it cuts off, at least a quarter on either side."""
    count = len(points)
    apart = np.linalg.norm(points[:, None] - points[None], axis=2)
    gap = np.abs(np.arange(count)[:, None] - np.arange(count))
    apart[np.minimum(gap, count - gap) < count // 4] = np.inf
    start, stop = np.unravel_index(int(np.argmin(apart)), apart.shape)
    return int(min(start, stop)), int(max(start, stop))


def _least_area(points: FloatArray) -> IntArray:
    count = len(points)
    if count < 3:
        return np.zeros((0, 3), dtype=np.int64)
    cost = np.zeros((count, count))
    apex = np.zeros((count, count), dtype=np.int64)
    for gap in range(2, count):
        start = np.arange(count - gap)
        stop = start + gap
        middle = start[:, None] + np.arange(1, gap)
        area = _areas(points[start][:, None], points[middle], points[stop][:, None])
        total = cost[start[:, None], middle] + cost[middle, stop[:, None]] + area
        best = np.argmin(total, axis=1)
        cost[start, stop] = total[start, best]
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

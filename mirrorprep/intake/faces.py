"""Polygons, strips and fans of triangles turned into plain triangles."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from mirrorprep.geometry.polygons import triangulate
from mirrorprep.intake.raw import caution, limit_triangles, note, refuse
from mirrorprep.solid.finding import Finding

IntArray = NDArray[np.int64]


def polygon_faces(
    vertices: NDArray[Any], sizes: IntArray, corners: IntArray
) -> tuple[IntArray, tuple[Finding, ...]]:
    """Return the triangles of polygons after checking their indices, and what was done to them."""
    _check_corners(sizes, corners, len(vertices))
    limit_triangles(int(np.maximum(sizes - 2, 0).sum()))
    with np.errstate(all="ignore"):
        cut = triangulate(vertices, sizes, corners)
    findings = []
    if cut.short:
        message = f"{cut.short} faces have fewer than three corners; they were left out."
        findings.append(caution("short-faces", message, remedy="Check the exporter.", measured=cut.short))
    if cut.fanned or cut.clipped:
        message = (
            f"{cut.fanned + cut.clipped} polygons were cut into triangles: "
            f"{cut.fanned} as fans, {cut.clipped} by ear clipping."
        )
        findings.append(note("polygons-cut", message, measured=cut.fanned + cut.clipped))
    if cut.forced:
        message = (
            f"{cut.forced} polygons are flat to a line or cross themselves; they were cut as plain fans."
        )
        findings.append(
            caution("polygons-forced", message, remedy="Check those places.", measured=cut.forced)
        )
    return cut.faces, tuple(findings)


def _check_corners(sizes: IntArray, corners: IntArray, vertex_count: int) -> None:
    if len(corners) == 0 or (corners.min() >= 0 and corners.max() < vertex_count):
        return
    bad = (corners < 0) | (corners >= vertex_count)
    first = int(np.argmax(bad))
    face = int(np.searchsorted(np.cumsum(sizes), first, side="right"))
    refuse(
        f"{int(bad.sum())} face corners refer to vertices that do not exist (first: face {face + 1}, vertex "
        f"index {corners[first]} counted from 0; the file holds {vertex_count} vertices)."
    )


def strip_faces(strip: IntArray) -> IntArray:
    """Return the triangles of a strip; a negative index starts a new strip, repeated corners vanish.

    Every second triangle of a strip is turned round, so that all keep the winding of the first.

    Examples
    --------
    >>> strip_faces(np.array([0, 1, 2, 3])).tolist()
    [[0, 1, 2], [2, 1, 3]]
    """
    if len(strip) < 3:
        return np.zeros((0, 3), dtype=np.int64)
    triples = np.stack([strip[:-2], strip[1:-1], strip[2:]], axis=1).astype(np.int64)
    place = np.arange(len(strip))
    restart = np.maximum.accumulate(np.where(strip < 0, place, -1))
    odd = ((place - restart - 1) % 2 == 1)[:-2]
    triples[odd, 0], triples[odd, 1] = triples[odd, 1], triples[odd, 0]
    a, b, c = triples.T
    return np.ascontiguousarray(triples[(triples >= 0).all(axis=1) & (a != b) & (b != c) & (c != a)])


def fan_faces(fan: IntArray) -> IntArray:
    """Return the triangles of a fan around its first corner.

    Examples
    --------
    >>> fan_faces(np.array([0, 1, 2, 3])).tolist()
    [[0, 1, 2], [0, 2, 3]]
    """
    if len(fan) < 3:
        return np.zeros((0, 3), dtype=np.int64)
    return np.stack([np.repeat(fan[:1], len(fan) - 2), fan[1:-1], fan[2:]], axis=1).astype(np.int64)

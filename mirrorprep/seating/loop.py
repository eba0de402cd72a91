"""A closed loop of picked surface points, joined by geodesic paths, and the side it encloses."""

from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import KDTree

from mirrorprep.errors import GeometryError, InputFileError
from mirrorprep.geometry.geodesic import distance_along, geodesic_path
from mirrorprep.geometry.normals import unit, vertex_normals
from mirrorprep.geometry.surface_index import SurfaceIndex
from mirrorprep.solid.mesh import ScanMesh

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

CLOSED_WITHIN_MM: Final = 0.5
OFF_SURFACE_MM: Final = 5.0
LEAST_POINTS: Final = 3
_BAND_EDGES: Final = 3.0
_REMEDY: Final = "Write one point 'x y z' a line, in mm of the donor scan, the last repeating the first."


def read_loop(path: str | Path) -> FloatArray:
    """Read a loop file: plain text, one point ``x y z`` a line, ``#`` starts a comment.

    Returns
    -------
    (n, 3) float64
        The points; whether they close is checked when the loop is laid on the scan.

    Raises
    ------
    InputFileError
        If the file cannot be read or understood; the message names the line.
    """
    path = Path(path)
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise InputFileError(
            f"The loop file '{path.name}' cannot be read: {error}.", remedy=_REMEDY
        ) from error
    points = []
    for number, line in enumerate(text.splitlines(), start=1):
        words = line.split("#")[0].split()
        if not words:
            continue
        try:
            x, y, z = (float(word) for word in words)
        except ValueError:
            raise InputFileError(
                f"Line {number} of the loop file '{path.name}' is '{line.strip()}'.", remedy=_REMEDY
            ) from None
        points.append((x, y, z))
    if not np.isfinite(points).all():
        raise InputFileError(
            f"The loop file '{path.name}' holds a number that is not finite.", remedy=_REMEDY
        )
    return np.array(points, dtype=np.float64).reshape(-1, 3)


def loop_path(mesh: ScanMesh, points: FloatArray) -> FloatArray:
    """Return the loop as points on the surface, about half an edge apart, the last repeating the first.

    Raises
    ------
    GeometryError
        If the loop is open, has fewer than three points, leaves the surface, or no path joins its points.
    """
    corners = max(len(points) - 1, 0)
    if corners < LEAST_POINTS:
        raise GeometryError(f"The donor loop has {corners} points, not at least 3.", remedy=_REMEDY)
    gap = float(np.linalg.norm(points[0] - points[-1]))
    if gap > CLOSED_WITHIN_MM:
        raise GeometryError(
            f"The donor loop is not closed: its ends lie {gap:.1f} mm apart (limit {CLOSED_WITHIN_MM:g} mm).",
            remedy=_REMEDY,
        )
    index = SurfaceIndex(mesh.vertices, mesh.faces)
    off = index.closest(points).distance_mm
    worst = int(off.argmax())
    if off[worst] > OFF_SURFACE_MM:
        raise GeometryError(
            f"Point {worst + 1} of the donor loop lies {off[worst]:.1f} mm off the donor scan "
            f"(limit {OFF_SURFACE_MM:g} mm).",
            remedy="Pick the points on the donor scan; check the unit (mm).",
        )
    closed = np.concatenate([points[:-1], points[:1]])
    path = geodesic_path(mesh.vertices, mesh.faces, closed, index=index)
    if len(path) == 0:
        raise GeometryError(
            "Two neighbouring points of the donor loop lie on separate pieces of the scan.",
            remedy="Pick all points on one connected surface.",
        )
    apart = np.linalg.norm(np.diff(path, axis=0), axis=1) > 0.0
    return np.asarray(path[np.concatenate([[True], apart])])


def loop_field(mesh: ScanMesh, points: FloatArray, *, graph: csr_array) -> FloatArray:
    """Return about the distance of each vertex from a closed loop, negative on the smaller side.

    Parameters
    ----------
    mesh : ScanMesh
        The donor scan.
    points : (n, 3) float64
        Picked points, the last repeating the first.
    graph : sparse array
        Its `edge_graph`.

    Raises
    ------
    GeometryError
        As `loop_path`, or if the loop does not part the surface into two.
    """
    path = loop_path(mesh, points)
    band = _BAND_EDGES * float(np.percentile(graph.data, 95)) + float(
        np.linalg.norm(np.diff(path, axis=0), axis=1).max()
    )
    near, offset, side = _beside(mesh, path, band, graph)
    label = np.zeros(len(mesh.vertices), dtype=np.int64)  # 1 and −1 beside the loop, 0 elsewhere
    label[near] = np.where(side < 0.0, -1, 1)
    edges = graph.tocoo()
    first, second = edges.row, edges.col
    apart = (label[first] * label[second] < 0) & _close(offset, near, first, second, len(label))
    kept = csr_array(
        (np.ones(int((~apart).sum()), dtype=np.int8), (first[~apart], second[~apart])), shape=graph.shape
    )
    piece = connected_components(kept, directed=False)[1]
    inner, outer = (_majority(piece[near][which]) for which in (side < 0.0, side >= 0.0))
    if inner == outer:
        raise GeometryError(
            "The donor loop does not part the surface: one can walk from one side to the other without "
            "crossing it.",
            remedy="Lay the loop around the part, on skin without holes or handles.",
        )
    sizes = [float((piece == k).sum()) for k in (inner, outer)]
    taken = inner if sizes[0] <= sizes[1] else outer
    far = distance_along(graph, near, limit_mm=np.inf)
    value = far + band
    value[near] = np.maximum(offset, 1e-9)
    value = np.where(np.isfinite(value), value, 1e6)
    return np.where(piece == taken, -value, value)


def _majority(labels: IntArray) -> int:
    return int(np.bincount(labels).argmax()) if len(labels) else -1


def _close(offset: FloatArray, near: IntArray, first: IntArray, second: IntArray, count: int) -> FloatArray:
    """Return which edges have both ends beside the loop."""
    member = np.zeros(count, dtype=bool)
    member[near] = np.isfinite(offset)
    return np.asarray(member[first] & member[second])


def _beside(
    mesh: ScanMesh, path: FloatArray, band: float, graph: csr_array
) -> tuple[IntArray, FloatArray, FloatArray]:
    """Return the vertices within a band of the loop, their distance from it and the side they lie on.

    The band is measured in space and along the surface, so that a sheet that hangs over the loop is not met.
    """
    tree = KDTree(path[:-1])
    used = np.unique(mesh.faces)
    sources = np.unique(used[KDTree(mesh.vertices[used]).query(path)[1]])
    along_surface = distance_along(graph, sources, limit_mm=2.0 * band)
    far, _ = tree.query(mesh.vertices, distance_upper_bound=band)
    near = np.flatnonzero(np.isfinite(far) & np.isfinite(along_surface))
    points = mesh.vertices[near]
    start, along = path[:-1], np.diff(path, axis=0)
    candidates = tree.query(points, k=min(4, len(start)))[1].reshape(len(points), -1)
    candidates = np.concatenate([candidates, (candidates - 1) % len(start)], axis=1)
    base, way = start[candidates], along[candidates]
    share = np.einsum("nki,nki->nk", points[:, None] - base, way) / np.einsum("nki,nki->nk", way, way)
    foot = base + np.clip(share, 0.0, 1.0)[..., None] * way
    distance = np.linalg.norm(points[:, None] - foot, axis=2)
    best = distance.argmin(axis=1)
    rows = np.arange(len(points))
    normals = vertex_normals(mesh.vertices, mesh.faces)[near]
    segment = candidates[rows, best]
    tangent = unit(along)
    clipped = share[rows, best]
    before, after = (segment - 1) % len(start), (segment + 1) % len(start)
    way_there = tangent[segment]
    way_there = np.where((clipped <= 0.0)[:, None], way_there + tangent[before], way_there)
    way_there = np.where((clipped >= 1.0)[:, None], way_there + tangent[after], way_there)
    left = np.cross(normals, way_there)
    side = np.einsum("ij,ij->i", points - foot[rows, best], left)
    return near, distance[rows, best], side

"""Checking a scan: everything that stands between it and a solid, with places."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from mirrorprep.condition.faults import repeats, zero_area
from mirrorprep.condition.findings import POINTS_PER_FEATURE, Evidence, findings_of, suited_scanner
from mirrorprep.condition.report import CheckReport, Hole
from mirrorprep.errors import UsageError
from mirrorprep.geometry.borders import border_groups
from mirrorprep.geometry.nesting import closed_bodies, nesting
from mirrorprep.geometry.normals import doubled_areas, vertex_normals
from mirrorprep.geometry.orienting import faces_to_flip
from mirrorprep.geometry.self_intersection import meeting_pairs
from mirrorprep.geometry.surface_quality import noise_sd_mm, rings, spikes
from mirrorprep.geometry.topology import EdgeTable, bodies, edge_table
from mirrorprep.geometry.weld import weld_exact
from mirrorprep.progress import SILENT, Progress
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.solid import Solid

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_MOST_HOLES: Final = 200


def check(
    scan: ScanMesh | Solid,
    *,
    accuracy_mm: float | None = None,
    feature_mm: float | None = None,
    progress: Progress = SILENT,
) -> CheckReport:
    """Return the condition of a scan: what stands between it and a solid, and how good its points are.

    Parameters
    ----------
    scan : ScanMesh or Solid
        The mesh as it stands; nothing is welded for the counts of edges. For the self-intersections,
        vertices at one place count as one.
    accuracy_mm : float, optional
        The scanner's stated accuracy; the estimated noise is held against it.
    feature_mm : float, optional
        The smallest feature to keep; the point spacing is held against it.
    progress : Progress
        Told about each part.

    Returns
    -------
    CheckReport
        Counts, places and findings, the reader's findings first.

    Raises
    ------
    UsageError
        If the accuracy or the feature is not positive.

    Notes
    -----
    `solid` is the rule of the 3MF core specification 1.4, sections 4.1, 4.1.3 and 4.1.4: every edge belongs
    to exactly two triangles in opposite order and the volume is positive. Self-intersections are a finding
    of their own. The noise estimate assumes independent errors of the points
    (`mirrorprep.geometry.surface_quality.noise_sd_mm`). About 8 s for a million triangles.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import box
    >>> report = check(box([20, 30, 40]).mesh)
    >>> report.solid, report.open_edges, report.genus, [f.code for f in report.findings]
    (True, 0, 0, [])
    """
    for name, value in (("accuracy", accuracy_mm), ("smallest feature", feature_mm)):
        if value is not None and not 0.0 < value < np.inf:
            raise UsageError(f"The {name} is {value:g} mm.", remedy="Give more than 0 mm.")
    mesh = scan.mesh if isinstance(scan, Solid) else scan
    progress.step("edges", 0.0)
    table = edge_table(mesh.faces)
    progress.step("triangles", 0.15)
    shape = _shape(mesh, table)
    with ThreadPoolExecutor(max_workers=1) as pool:
        meeting = pool.submit(_meeting, mesh, shape.duplicate)
        progress.step("points", 0.25)
        points = _points(mesh, table)
        progress.step("bodies", 0.4)
        pieces = _pieces(mesh, table)
        progress.step("self-intersections", 0.5)
        apart, neighbours = meeting.result()
    overlaps = _overlaps(pieces, apart)
    evidence = Evidence(
        mesh=mesh, table=table, accuracy_mm=accuracy_mm, feature_mm=feature_mm,
        apart=apart, neighbours=neighbours,
        zero_area=shape.zero_area, duplicate=shape.duplicate, flipped=shape.flipped,
        seams=shape.seams, holes=shape.holes,
        bodies=pieces.count, overlaps=overlaps, inside_out_mm=pieces.inside_out_mm,
        spikes=points.spikes, spacing_mm=points.spacing_mm, noise_mm=points.noise_mm,
    )  # fmt: skip
    report = _report(evidence, pieces)
    progress.step("checked", 1.0)
    return report


def _report(seen: Evidence, pieces: "_Pieces") -> CheckReport:
    mesh, table = seen.mesh, seen.table
    spacing = seen.spacing_mm
    faults = int(table.open.sum() + table.non_manifold.sum() + table.inconsistent.sum())
    repeated = int((mesh.faces == np.roll(mesh.faces, 1, axis=1)).any(axis=1).sum())
    closed = len(mesh.faces) > 0 and faults + repeated == 0
    x, y, z = (float(side) for side in mesh.size_mm)
    return CheckReport(
        triangles=len(mesh.faces),
        vertices=len(mesh.vertices),
        solid=closed and pieces.volume_mm3 > 0.0,
        open_edges=int(table.open.sum()),
        non_manifold_edges=int(table.non_manifold.sum()),
        inconsistent_edges=int(table.inconsistent.sum()),
        degenerate_faces=len(seen.zero_area),
        duplicate_faces=len(seen.duplicate),
        flipped_faces=len(seen.flipped),
        self_intersections=len(seen.apart),
        neighbour_intersections=len(seen.neighbours),
        bodies=pieces.count,
        overlapping_bodies=len(seen.overlaps),
        genus=pieces.genus if closed else None,
        inside_out=len(seen.inside_out_mm) > 0,
        size_mm=(x, y, z),
        units=mesh.origin.units,
        suits=suited_scanner(float(mesh.size_mm.max())),
        spacing_mm=spacing,
        smallest_feature_mm=None if spacing is None else POINTS_PER_FEATURE * spacing,
        noise_mm=seen.noise_mm,
        spikes=len(seen.spikes),
        holes=seen.holes[:_MOST_HOLES],
        findings=(*mesh.origin.findings, *findings_of(seen)),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Shape:
    zero_area: IntArray
    duplicate: IntArray
    flipped: IntArray
    seams: int
    holes: tuple[Hole, ...]


def _shape(mesh: ScanMesh, table: EdgeTable) -> _Shape:
    open_edges = table.edges[table.open]
    groups = border_groups(mesh.vertices, open_edges)
    holes = tuple(
        Hole(edges=int(edges), perimeter_mm=float(length), place_mm=(float(x), float(y), float(z)))
        for edges, length, (x, y, z) in zip(groups.edges, groups.perimeter_mm, groups.center_mm, strict=True)
    )
    ends = np.unique(open_edges)
    seams = weld_exact(mesh.vertices[ends]).merged if len(ends) else 0
    flipped = np.zeros(0, dtype=np.int64)
    if table.inconsistent.any():
        areas = np.linalg.norm(doubled_areas(mesh.vertices, mesh.faces), axis=1)
        flipped = np.flatnonzero(faces_to_flip(mesh.faces, areas))
    no_area = np.flatnonzero(zero_area(mesh.vertices, mesh.faces))
    return _Shape(no_area, repeats(mesh.faces).extra, flipped, seams, holes)


def _meeting(mesh: ScanMesh, extra: IntArray) -> tuple[IntArray, IntArray]:
    """Return the pairs that meet, without and with a common corner; vertices at one place are one."""
    if len(mesh.faces) == 0:
        return np.zeros((0, 2), dtype=np.int64), np.zeros((0, 2), dtype=np.int64)
    weld = weld_exact(mesh.vertices)
    faces = weld.label[mesh.faces] if weld.merged else mesh.faces
    vertices = mesh.vertices[weld.kept] if weld.merged else mesh.vertices
    again = repeats(faces).extra if weld.merged else extra
    number = np.delete(np.arange(len(faces)), again)
    faces = faces[number] if len(again) else faces
    found = meeting_pairs(vertices, faces)
    return number[found.apart], number[np.concatenate([found.cornered, found.folded])]


@dataclass(frozen=True, slots=True, eq=False)
class _Pieces:
    count: int
    volume_mm3: float
    genus: int
    inside_out_mm: FloatArray
    body: IntArray
    doubled: IntArray


def _overlaps(pieces: _Pieces, pairs: IntArray) -> IntArray:
    """Return the pairs of bodies that cross, or of which one lies within the other the same way round."""
    crossed = pieces.body[pairs]
    crossed = crossed[crossed[:, 0] != crossed[:, 1]]
    return np.unique(np.sort(np.concatenate([pieces.doubled, crossed]), axis=1), axis=0)


def _pieces(mesh: ScanMesh, table: EdgeTable) -> _Pieces:
    count, body = bodies(mesh.faces, len(mesh.vertices))
    if count == 0:
        nothing = np.zeros((0, 2), dtype=np.int64)
        return _Pieces(0, 0.0, 0, inside_out_mm=np.zeros((0, 3)), body=body, doubled=nothing)
    closed = closed_bodies(table, body)
    nest = nesting(mesh.vertices, mesh.faces, body, np.ones(count, dtype=bool), table)
    used = int((np.bincount(mesh.faces.ravel()) > 0).sum())
    euler = used - len(table.edges) + len(mesh.faces)
    inner, outer = nest.inside.T
    alike = closed[outer] & (np.sign(nest.volume_mm3[inner]) == np.sign(nest.volume_mm3[outer]))
    sure = closed | (np.arange(count) == np.argmax(np.bincount(body)))  # near open borders depth is not
    wrong = np.flatnonzero(sure & nest.plump & (nest.volume_mm3 < 0.0) & (nest.depth() % 2 == 0))
    first = np.unique(body, return_index=True)[1][wrong] if len(wrong) else wrong
    return _Pieces(
        count,
        float(nest.volume_mm3.sum()),
        count - euler // 2,
        inside_out_mm=mesh.vertices[mesh.faces[first]].mean(axis=1),
        body=body,
        doubled=nest.inside[alike],
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Points:
    spacing_mm: float | None
    noise_mm: float | None
    spikes: IntArray


def _points(mesh: ScanMesh, table: EdgeTable) -> _Points:
    if len(mesh.faces) == 0:
        return _Points(None, None, np.zeros(0, dtype=np.int64))
    ends = mesh.vertices[table.edges]
    spacing = float(np.median(np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)))
    around = rings(table.edges, table.open | table.non_manifold, len(mesh.vertices))
    normals = vertex_normals(mesh.vertices, mesh.faces)
    noise = noise_sd_mm(mesh.vertices, normals, around)
    return _Points(spacing, noise, spikes(mesh.vertices, around))

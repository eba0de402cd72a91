"""What a check saw, put into findings with places and remedies."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from mirrorprep.condition.draft import counted, places
from mirrorprep.condition.report import Hole
from mirrorprep.geometry.topology import EdgeTable
from mirrorprep.solid.finding import Finding, Severity
from mirrorprep.solid.mesh import ScanMesh

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

POINTS_PER_FEATURE: Final = 3.0
"""Points wanted across the smallest feature that is kept (common practice, no source)."""

SCANNERS: Final = (
    ("small-part scanners (1 cm to 15 cm)", 10.0, 150.0),
    ("hand-held structured light (15 cm to 15 m)", 150.0, 15_000.0),
)
"""Kinds of scanners with the longest sides in mm that they suit (common practice, no source)."""

_MEND: Final = "Mend the scan ('mirrorprep mend')."


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Evidence:
    """The measurements a report is made of; face and vertex numbers, not counts."""

    mesh: ScanMesh
    table: EdgeTable
    accuracy_mm: float | None
    feature_mm: float | None
    apart: IntArray
    neighbours: IntArray
    zero_area: IntArray
    duplicate: IntArray
    flipped: IntArray
    seams: int
    holes: tuple[Hole, ...]
    bodies: int
    overlaps: IntArray
    inside_out_mm: FloatArray
    spikes: IntArray
    spacing_mm: float | None
    noise_mm: float | None


def findings_of(seen: Evidence) -> tuple[Finding, ...]:
    """Return the findings, the gravest kind of fault first."""
    if len(seen.mesh.faces) == 0:
        return (
            Finding(
                code="no-triangles",
                severity=Severity.STOP,
                message="The mesh has no triangles.",
                measured=0.0,
                limit=1.0,
                remedy="Export the scan again as a triangle mesh.",
            ),
        )
    return (*_edges(seen), *_faces(seen), *_meetings(seen), *_bodies(seen), *_points(seen), *_size(seen))


def _count(
    code: str, number: int, message: str, where: FloatArray, remedy: str = _MEND, *, note: bool = False
) -> Iterator[Finding]:
    if number:
        yield Finding(
            code=code,
            severity=Severity.NOTE if note else Severity.CAUTION,
            message=message,
            where=places(where),
            measured=float(number),
            limit=0.0,
            remedy=remedy,
        )


def suited_scanner(longest_mm: float) -> str | None:
    """Return the kind of scanner that suits a longest side, or None.

    Examples
    --------
    >>> suited_scanner(60.0)
    'small-part scanners (1 cm to 15 cm)'
    """
    return next((name for name, low, high in SCANNERS if low <= longest_mm <= high), None)


def _middles(mesh: ScanMesh, corners: IntArray) -> FloatArray:
    """Return the middle of each row of corners."""
    return np.asarray(mesh.vertices[corners].mean(axis=1))


def _edges(seen: Evidence) -> Iterator[Finding]:
    table, mesh = seen.table, seen.mesh
    rims = np.array([hole.place_mm for hole in seen.holes]).reshape(-1, 3)
    number = int(table.open.sum())
    borders = counted(len(seen.holes), "border")
    message = f"{counted(number, 'edge')} of one triangle only, in {borders}: the surface is open."
    yield from _count("open-edges", number, message, rims)
    seams = f"{counted(seen.seams, 'vertex', 'vertices')} on open edges at exactly the place of another one"
    yield from _count(
        "unwelded-seams", seen.seams, f"{seams}: seams that were never joined.", np.zeros((0, 3))
    )
    number = int(table.non_manifold.sum())
    message = f"{counted(number, 'edge')} of more than two triangles."
    yield from _count("non-manifold-edges", number, message, _middles(mesh, table.edges[table.non_manifold]))
    number = int(table.inconsistent.sum())
    flipped = _middles(mesh, mesh.faces[seen.flipped])
    turned = f"{counted(number, 'edge')} with triangles that face opposite ways"
    message = f"{turned}: {counted(len(flipped), 'triangle')} flipped."
    where = flipped if len(flipped) else _middles(mesh, table.edges[table.inconsistent])
    yield from _count("inconsistent-edges", number, message, where)


def _faces(seen: Evidence) -> Iterator[Finding]:
    for code, faces, what in (
        ("degenerate-faces", seen.zero_area, "without area"),
        ("duplicate-faces", seen.duplicate, "with the corners of another one"),
    ):
        message = f"{counted(len(faces), 'triangle')} {what}."
        yield from _count(code, len(faces), message, _middles(seen.mesh, seen.mesh.faces[faces]))


def _meetings(seen: Evidence) -> Iterator[Finding]:
    apart, neighbours = len(seen.apart), len(seen.neighbours)
    pairs = np.concatenate([seen.apart, seen.neighbours])
    where = seen.mesh.vertices[seen.mesh.faces[pairs]].mean(axis=(1, 2))
    listed = [f"{counted(apart, 'pair')} of triangles that cross"] if apart else []
    folds = f"{counted(neighbours, 'pair')} of neighbours that cross or lie flat upon each other"
    listed += [folds] if neighbours else []
    yield from _count("self-intersections", len(pairs), f"{', '.join(listed)}.", where)


def _bodies(seen: Evidence) -> Iterator[Finding]:
    nowhere = np.zeros((0, 3))
    wrong = len(seen.inside_out_mm)
    message = "The surface is inside out: its normals point inward."
    if seen.bodies > 1:
        message = f"{wrong} of {seen.bodies} bodies inside out: their normals point inward."
    yield from _count("inside-out", wrong, message, seen.inside_out_mm if seen.bodies > 1 else nowhere)
    if seen.bodies > 1:
        yield from _count(
            "several-bodies",
            seen.bodies,
            f"The scan consists of {seen.bodies} unconnected bodies.",
            nowhere,
            "Mending drops small ones as islands ('mirrorprep mend'); '--skip drop-islands' keeps them.",
            note=True,
        )
    overlaps = len(seen.overlaps)
    message = f"{counted(overlaps, 'pair')} of overlapping bodies: their common volume would count twice."
    yield from _count("overlapping-bodies", overlaps, message, nowhere)


def _points(seen: Evidence) -> Iterator[Finding]:
    number, spacing, noise = len(seen.spikes), seen.spacing_mm, seen.noise_mm
    needles = seen.mesh.vertices[seen.spikes]
    message = f"{counted(number, 'vertex stands', 'vertices stand')} out like a needle."
    remedy = "Mending takes down single ones ('mirrorprep mend'); look at the others."
    yield from _count("spikes", number, message, needles, remedy)
    if seen.accuracy_mm is not None and noise is not None and noise > seen.accuracy_mm:
        yield Finding(
            code="noise-above-accuracy",
            severity=Severity.CAUTION,
            message=f"The points scatter by {noise:.2g} mm; the accuracy is {seen.accuracy_mm:g} mm.",
            measured=noise,
            limit=seen.accuracy_mm,
            remedy="Scan again, or smooth gently ('mirrorprep mend --smooth-mm') and keep to its deviation.",
        )
    if seen.feature_mm is not None and spacing and seen.feature_mm < POINTS_PER_FEATURE * spacing:
        across = seen.feature_mm / spacing
        yield Finding(
            code="spacing-above-feature",
            severity=Severity.CAUTION,
            message=(
                f"The points stand {spacing:.2g} mm apart: {across:.2g} across a feature of "
                f"{seen.feature_mm:g} mm, {POINTS_PER_FEATURE:g} are wanted (common practice)."
            ),
            measured=across,
            limit=POINTS_PER_FEATURE,
            remedy=f"Scan finer, or rely on features of {POINTS_PER_FEATURE * spacing:.2g} mm and more only.",
        )


def _size(seen: Evidence) -> Iterator[Finding]:
    longest = float(seen.mesh.size_mm.max())
    if suited_scanner(longest):
        return
    smallest, largest = SCANNERS[0][1], SCANNERS[-1][2]
    side, limit = ("below", smallest) if longest < smallest else ("above", largest)
    yield Finding(
        code="size-implausible",
        severity=Severity.CAUTION,
        message=f"The longest side is {longest:.4g} mm, {side} the usual {limit:g} mm (common practice).",
        measured=longest,
        limit=limit,
        remedy="Check the unit the scan was read in and state it with '--units'.",
    )

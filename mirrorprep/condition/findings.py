"""What a check saw, put into findings with places and remedies."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from mirrorprep.condition.draft import places
from mirrorprep.condition.report import Hole
from mirrorprep.geometry.topology import EdgeTable
from mirrorprep.solid.finding import Finding, Severity
from mirrorprep.solid.mesh import ScanMesh

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_SMALLEST_PART_MM: Final = 10.0
_LARGEST_PART_MM: Final = 15_000.0
_MEND: Final = "Mend the scan ('mirrorprep mend')."


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Evidence:
    """The measurements a report is made of; face and vertex numbers, not counts."""

    mesh: ScanMesh
    table: EdgeTable
    accuracy_mm: float | None
    apart: IntArray
    neighbours: IntArray
    zero_area: IntArray
    duplicate: IntArray
    seams: int
    holes: tuple[Hole, ...]
    bodies: int
    overlaps: IntArray
    inside_out: bool
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


def _edges(seen: Evidence) -> Iterator[Finding]:
    table, vertices = seen.table, seen.mesh.vertices
    middles = vertices[table.edges].mean(axis=1)
    rims = np.array([hole.place_mm for hole in seen.holes]).reshape(-1, 3)
    number = int(table.open.sum())
    yield from _count(
        "open-edges",
        number,
        f"{number} edges belong to one triangle only, in {len(seen.holes)} borders.",
        rims,
    )
    yield from _count(
        "unwelded-seams",
        seen.seams,
        f"{seen.seams} vertices on open edges lie exactly on another one: seams that were never joined.",
        np.zeros((0, 3)),
    )
    number = int(table.non_manifold.sum())
    yield from _count(
        "non-manifold-edges",
        number,
        f"{number} edges belong to more than two triangles.",
        middles[table.non_manifold],
    )
    number = int(table.inconsistent.sum())
    yield from _count(
        "inconsistent-edges",
        number,
        f"{number} edges have triangles that face opposite ways: part of the surface is flipped.",
        middles[table.inconsistent],
    )


def _faces(seen: Evidence) -> Iterator[Finding]:
    centers = seen.mesh.triangles.mean(axis=1)
    number = len(seen.zero_area)
    yield from _count(
        "degenerate-faces", number, f"{number} triangles have no area.", centers[seen.zero_area]
    )
    number = len(seen.duplicate)
    yield from _count(
        "duplicate-faces", number, f"{number} triangles repeat another one.", centers[seen.duplicate]
    )


def _meetings(seen: Evidence) -> Iterator[Finding]:
    apart, neighbours = len(seen.apart), len(seen.neighbours)
    pairs = np.concatenate([seen.apart, seen.neighbours])
    where = seen.mesh.vertices[seen.mesh.faces[pairs]].mean(axis=(1, 2))
    listed = [f"{apart} pairs of triangles cross"] if apart else []
    listed += [f"{neighbours} pairs of neighbours cross or lie flat upon each other"] if neighbours else []
    yield from _count("self-intersections", len(pairs), f"{', '.join(listed)}.", where)


def _bodies(seen: Evidence) -> Iterator[Finding]:
    nowhere = np.zeros((0, 3))
    if seen.inside_out:
        yield from _count("inside-out", 1, "The surface is inside out: its normals point inward.", nowhere)
    if seen.bodies > 1:
        yield from _count(
            "several-bodies",
            seen.bodies,
            f"The scan consists of {seen.bodies} unconnected bodies.",
            nowhere,
            "Drop islands when mending, or keep them if they are meant.",
            note=True,
        )
    number = len(seen.overlaps)
    yield from _count(
        "overlapping-bodies",
        number,
        f"{number} pairs of bodies overlap: their common volume would be counted twice.",
        nowhere,
    )


def _points(seen: Evidence) -> Iterator[Finding]:
    number = len(seen.spikes)
    yield from _count(
        "spikes",
        number,
        f"{number} vertices stand out like needles.",
        seen.mesh.vertices[seen.spikes],
        "Look at them; smooth or remove them if they are no part of the object.",
    )
    if seen.accuracy_mm is not None and seen.noise_mm is not None and seen.noise_mm > seen.accuracy_mm:
        yield Finding(
            code="noise-above-accuracy",
            severity=Severity.CAUTION,
            message=f"The points scatter by {seen.noise_mm:.2g} mm; the accuracy is {seen.accuracy_mm:g} mm.",
            measured=seen.noise_mm,
            limit=seen.accuracy_mm,
            remedy="Scan again, or smooth gently and report the deviation.",
        )


def _size(seen: Evidence) -> Iterator[Finding]:
    longest = float(seen.mesh.size_mm.max())
    if _SMALLEST_PART_MM <= longest <= _LARGEST_PART_MM:
        return
    side, limit = ("below", _SMALLEST_PART_MM) if longest < _SMALLEST_PART_MM else ("above", _LARGEST_PART_MM)
    yield Finding(
        code="size-implausible",
        severity=Severity.CAUTION,
        message=f"The longest side is {longest:.4g} mm, {side} the usual {limit:g} mm (common practice).",
        measured=longest,
        limit=limit,
        remedy="Check the unit the scan was read in and state it with '--units'.",
    )

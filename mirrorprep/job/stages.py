"""The stages of a job in order; the one place where the rooms meet."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import Final, TypeVar

import numpy as np

from mirrorprep.condition.check import check
from mirrorprep.condition.mend import mend
from mirrorprep.condition.report import CheckReport
from mirrorprep.errors import NotASolidError
from mirrorprep.intake.read import read_scan
from mirrorprep.job.tables import Job, MouldTable
from mirrorprep.measurement.measure import Measurement, measure
from mirrorprep.mould.build import Mould, build_mould
from mirrorprep.mould.settings import mould_settings
from mirrorprep.pour.materials import Material, find_material
from mirrorprep.progress import Progress
from mirrorprep.solid.certify import certify
from mirrorprep.solid.finding import Finding, Severity
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.plane import Plane
from mirrorprep.solid.solid import Solid
from mirrorprep.symmetry.landmarks import read_landmarks
from mirrorprep.symmetry.mirroring import mirror
from mirrorprep.symmetry.region import read_region
from mirrorprep.symmetry.result import MirrorPlaneResult
from mirrorprep.symmetry.search import find_mirror_plane

_T = TypeVar("_T")

_MOULD_ENTRIES: Final = tuple(entry.name for entry in fields(MouldTable) if entry.name != "build")


@dataclass(frozen=True, slots=True, kw_only=True)
class StageRecord:
    """What one stage did.

    Attributes
    ----------
    name : str
        The room's name.
    figures : dict
        Results as plain data, with units in their names.
    findings : tuple of Finding
        What it noticed.
    """

    name: str
    figures: dict[str, object]
    findings: tuple[Finding, ...] = ()

    def as_dict(self) -> dict[str, object]:
        """Return plain data for JSON."""
        return {
            "name": self.name,
            "figures": self.figures,
            "findings": [finding.as_dict() for finding in self.findings],
        }


@dataclass(slots=True, kw_only=True)
class Work:
    """What the stages hand on; each fills in its own result."""

    job: Job
    folder: Path
    scan: ScanMesh | None = None
    part_scan: ScanMesh | None = None
    report: CheckReport | None = None
    part: Solid | None = None
    plane: Plane | None = None
    plane_result: MirrorPlaneResult | None = None
    mirrored: Solid | None = None
    measurement: Measurement | None = None
    material: Material | None = None
    mould: Mould | None = None
    records: list[StageRecord] = field(default_factory=list)

    @property
    def findings(self) -> tuple[Finding, ...]:
        """All findings so far."""
        return tuple(finding for record in self.records for finding in record.findings)

    def stops(self) -> list[Finding]:
        """Return the findings that halt the job: severity 'stop' and not waived."""
        return [
            f for f in self.findings if f.severity is Severity.STOP and f.code not in self.job.waive.codes
        ]


def need(result: _T | None) -> _T:
    """Return a result of an earlier stage; its absence is a bug in the order of the stages."""
    if result is None:
        raise RuntimeError("a stage ran before the one it needs")
    return result


def _intake(work: Work, progress: Progress) -> StageRecord:
    job = work.job
    work.scan = read_scan(work.folder / job.scan.file, units=job.scan.units or None, progress=progress)
    work.part_scan = (
        read_scan(work.folder / job.part.file, units=job.part.units or None) if job.part.file else work.scan
    )
    meshes = [work.scan] if work.part_scan is work.scan else [work.scan, work.part_scan]
    figures: dict[str, object] = {
        name: {
            "format": mesh.origin.format,
            "units": mesh.origin.units,
            "sha256": mesh.origin.sha256,
            "triangles": len(mesh.faces),
            "size_mm": mesh.size_mm.tolist(),
        }
        for name, mesh in zip(("scan", "part"), meshes, strict=False)
    }
    return StageRecord(
        name="intake", figures=figures, findings=_distinct(f for mesh in meshes for f in mesh.origin.findings)
    )


def _condition(work: Work, progress: Progress) -> StageRecord:
    scan, part = need(work.scan), need(work.part_scan)
    work.report = check(scan, accuracy_mm=work.job.scan.accuracy_mm, progress=progress.part(0.0, 0.4))
    part_report = work.report if part is scan else check(part, progress=progress.part(0.4, 0.7))
    figures: dict[str, object] = {"scan": work.report.as_dict()}
    findings = list(work.report.findings)
    if part is not scan:
        figures["part"] = part_report.as_dict()
        findings += part_report.findings
    if part_report.solid:
        work.part = certify(part)
    elif work.job.part.mend:
        mended = mend(part, progress=progress.part(0.7, 1.0))
        figures["mended"] = mended.as_dict()
        findings += mended.findings
        work.part = mended.solid
    if work.part is None:
        raise NotASolidError(
            "The part is no solid and could not be made one.",
            remedy="See 'mirrorprep check', close it by hand, or allow mending in [part].",
        )
    return StageRecord(name="condition", figures=figures, findings=_distinct(findings))


def _symmetry(work: Work, progress: Progress) -> StageRecord:
    table = work.job.plane
    if table.normal is not None:
        work.plane = Plane(normal=np.array(table.normal), offset_mm=table.offset_mm)
        figures: dict[str, object] = {**work.plane.as_dict(), "status": "stated"}
        findings: tuple[Finding, ...] = ()
    else:
        result = find_mirror_plane(
            need(work.scan),
            landmarks=read_landmarks(work.folder / table.landmarks) if table.landmarks else None,
            region=read_region(work.folder / table.region) if table.region else None,
            seed=table.seed,
            choose=table.choose,
            progress=progress,
        )
        work.plane_result, work.plane = result, result.plane
        figures, findings = result.as_dict(), result.findings
    work.mirrored = mirror(need(work.part), work.plane)
    return StageRecord(name="symmetry", figures=figures, findings=findings)


def _measurement(work: Work, progress: Progress) -> StageRecord:
    table = work.job.material
    work.material = find_material(table.name).with_figures(
        density_g_cm3=table.density_g_cm3,
        shrinkage=table.shrinkage,
        viscosity_pa_s=table.viscosity_pa_s,
        pot_life_s=table.pot_life_s,
    )
    work.measurement = measure(
        need(work.mirrored),
        accuracy_mm=work.job.scan.accuracy_mm,
        density_g_cm3=work.material.density_g_cm3.typical,
        progress=progress,
    )
    return StageRecord(
        name="measurement", figures=work.measurement.as_dict(), findings=work.measurement.findings
    )


def _mould(work: Work, progress: Progress) -> StageRecord:
    table, material = work.job.mould, need(work.material)
    settings = mould_settings(
        {
            **{name: getattr(table, name) for name in _MOULD_ENTRIES},
            "process": work.job.print.process,
            "bed_mm": work.job.print.bed_mm,
            "casting": "flexible" if material.flexible else "rigid",
            "shrinkage": material.shrinkage.typical,
        }
    )
    work.mould = build_mould(need(work.mirrored), settings=settings, progress=progress)
    return StageRecord(name="mould", figures=work.mould.as_dict(), findings=work.mould.findings)


def _distinct(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    return tuple(dict.fromkeys(findings))


Stage = Callable[[Work, Progress], StageRecord]

STAGES: Final[tuple[tuple[str, Stage, float], ...]] = (
    ("intake", _intake, 0.05),
    ("condition", _condition, 0.15),
    ("symmetry", _symmetry, 0.1),
    ("measurement", _measurement, 0.1),
    ("mould", _mould, 0.4),
)
"""The stages with their share of the time, in the order in which a scan walks through them."""

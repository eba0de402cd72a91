"""The stages of a job in order; the one place where the rooms meet."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from typing import Any, Final

import numpy as np

from mirrorprep.condition.check import check
from mirrorprep.condition.mend import mend
from mirrorprep.errors import NotASolidError
from mirrorprep.intake.read import read_scan
from mirrorprep.job.mould_record import mould_record
from mirrorprep.job.pour_request import pour_request
from mirrorprep.job.records import Shape, StageRecord
from mirrorprep.job.tables import Job, MouldTable
from mirrorprep.measurement.measure import measure
from mirrorprep.mould.build import build_mould
from mirrorprep.mould.settings import MouldSettings, mould_settings
from mirrorprep.pour.materials import Material, find_material
from mirrorprep.pour.plan import plan_pour
from mirrorprep.progress import Progress
from mirrorprep.solid.certify import certify
from mirrorprep.solid.finding import Finding, Severity
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.plane import Plane
from mirrorprep.solid.solid import Solid
from mirrorprep.symmetry.asymmetry import asymmetry_map
from mirrorprep.symmetry.landmarks import read_landmarks
from mirrorprep.symmetry.mirroring import mirror
from mirrorprep.symmetry.region import read_region
from mirrorprep.symmetry.search import find_mirror_plane

_WITHOUT_MOULD: Final = 4
_MOULD_ENTRIES: Final = tuple(entry.name for entry in fields(MouldTable) if entry.name != "build")


@dataclass(slots=True, kw_only=True)
class Work:
    """A job under way: its settings, the folder of its files, and what the stages have handed on."""

    job: Job
    folder: Path
    records: dict[str, StageRecord] = field(default_factory=dict)

    @property
    def findings(self) -> tuple[Finding, ...]:
        """All findings so far, each once."""
        return distinct(finding for record in self.records.values() for finding in record.findings)

    def stops(self) -> tuple[Finding, ...]:
        """Return the findings that halt the job: severity 'stop' and not waived."""
        waived = self.job.waive.codes
        return tuple(f for f in self.findings if f.severity is Severity.STOP and f.code not in waived)

    def waived(self) -> tuple[Finding, ...]:
        """Return the findings that would have halted the job."""
        waived = self.job.waive.codes
        return tuple(f for f in self.findings if f.severity is Severity.STOP and f.code in waived)

    def solid(self, room: str, name: str) -> Solid:
        """Return a solid that a stage handed on."""
        return self.records[room].solid(name)

    def mesh(self, room: str, name: str) -> ScanMesh:
        """Return a mesh that a stage handed on."""
        return self.records[room].mesh(name)


def distinct(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Return the findings in order, each code and message once."""
    return tuple({(finding.code, finding.message): finding for finding in findings}.values())


def material_of(job: Job) -> Material:
    """Return the job's material: the class, with the figures that the job states."""
    table = job.material
    return find_material(table.name).with_figures(
        density_g_cm3=table.density_g_cm3,
        shrinkage=table.shrinkage,
        viscosity_pa_s=table.viscosity_pa_s,
        pot_life_s=table.pot_life_s,
    )


def settings_of(job: Job) -> MouldSettings:
    """Return the settings of the job's mould."""
    material = material_of(job)
    return mould_settings(
        {
            **{name: getattr(job.mould, name) for name in _MOULD_ENTRIES},
            "process": job.print.process,
            "bed_mm": job.print.bed_mm,
            "casting": "flexible" if material.flexible else "rigid",
            "shrinkage": material.shrinkage.typical,
        }
    )


def _intake(work: Work, progress: Progress) -> StageRecord:
    table = work.job
    shapes: dict[str, Shape] = {
        "scan": read_scan(work.folder / table.scan.file, units=table.scan.units or None, progress=progress)
    }
    if table.part.file:
        shapes["part"] = read_scan(work.folder / table.part.file, units=table.part.units or None)
    figures: dict[str, Any] = {}
    findings: list[Finding] = []
    for name, mesh in shapes.items():
        origin = mesh.origin if isinstance(mesh, ScanMesh) else None
        if origin is None:
            continue
        file = work.folder / (table.scan.file if name == "scan" else table.part.file)
        figures[name] = {
            "format": origin.format,
            "units": origin.units,
            "bytes": file.stat().st_size,
            "sha256": origin.sha256,
        }
        findings += origin.findings
    return StageRecord(name="intake", figures=figures, findings=distinct(findings), shapes=shapes)


def _condition(work: Work, progress: Progress) -> StageRecord:
    shapes = work.records["intake"].shapes
    scan, part = work.mesh("intake", "scan"), work.mesh("intake", "part" if "part" in shapes else "scan")
    report = check(scan, accuracy_mm=work.job.scan.accuracy_mm, progress=progress.part(0.0, 0.4))
    part_report = report if part is scan else check(part, progress=progress.part(0.4, 0.7))
    figures: dict[str, Any] = {"scan": report.as_dict(), "part": part_report.as_dict()}
    findings = [*report.findings]
    if part is not scan:
        findings += [replace(f, message=f"The part: {f.message}") for f in part_report.findings]
    solid = certify(part) if part_report.solid else None
    if solid is None and work.job.part.mend:
        mended = mend(part, progress=progress.part(0.7, 1.0))
        figures["mended"] = mended.as_dict()
        findings += mended.findings
        solid = mended.solid
    if solid is None:
        raise NotASolidError(
            "The part is no solid and could not be made one.",
            remedy="See 'mirrorprep check', close it by hand, or allow mending in [part].",
        )
    return StageRecord(name="condition", figures=figures, findings=distinct(findings), shapes={"part": solid})


def _symmetry(work: Work, progress: Progress) -> StageRecord:
    table = work.job.plane
    figures: dict[str, Any]
    findings: tuple[Finding, ...] = ()
    if table.normal is not None:
        plane = Plane(normal=np.array(table.normal), offset_mm=table.offset_mm)
        figures = {**plane.as_dict(), "status": "stated"}
    else:
        result = find_mirror_plane(
            work.mesh("intake", "scan"),
            landmarks=read_landmarks(work.folder / table.landmarks) if table.landmarks else None,
            region=read_region(work.folder / table.region) if table.region else None,
            seed=table.seed,
            choose=table.choose,
            progress=progress,
        )
        plane, figures, findings = result.plane, result.as_dict(), result.findings
    return StageRecord(
        name="symmetry",
        figures=figures,
        findings=findings,
        shapes={"mirrored": mirror(work.solid("condition", "part"), plane)},
        arrays={"asymmetry_mm": asymmetry_map(work.mesh("intake", "scan"), plane)},
    )


def _measurement(work: Work, progress: Progress) -> StageRecord:
    result = measure(
        work.solid("symmetry", "mirrored"),
        accuracy_mm=work.job.scan.accuracy_mm,
        density_g_cm3=material_of(work.job).density_g_cm3.typical,
        progress=progress,
    )
    return StageRecord(name="measurement", figures=result.as_dict(), findings=result.findings)


def _mould(work: Work, progress: Progress) -> StageRecord:
    mould = build_mould(work.solid("symmetry", "mirrored"), settings=settings_of(work.job), progress=progress)
    return mould_record(mould)


def _pour(work: Work, progress: Progress) -> StageRecord:
    request = pour_request(
        work.records["mould"], material_of(work.job), tolerance_mm=work.job.job.tolerance_mm
    )
    plan = plan_pour(request, progress=progress)
    return StageRecord(name="pour", figures=plan.as_dict(), findings=plan.findings)


Stage = Callable[[Work, Progress], StageRecord]


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One stage with its name, its share of the time, and the tables of the job that it looks at."""

    name: str
    stage: Stage
    share: float
    tables: tuple[str, ...]


def steps_of(job: Job) -> tuple[Step, ...]:
    """Return the stages of a job in the order in which a scan walks through them."""
    steps = (
        Step(name="intake", stage=_intake, share=0.05, tables=("scan", "part")),
        Step(name="condition", stage=_condition, share=0.15, tables=("scan", "part")),
        Step(name="symmetry", stage=_symmetry, share=0.1, tables=("plane",)),
        Step(name="measurement", stage=_measurement, share=0.1, tables=("scan", "material")),
        Step(name="mould", stage=_mould, share=0.25, tables=("mould", "print", "material")),
        Step(name="pour", stage=_pour, share=0.05, tables=("job", "material")),
    )
    return steps if job.mould.build else steps[:_WITHOUT_MOULD]

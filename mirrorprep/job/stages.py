"""The stages of a job in order; the one place where the rooms meet."""

from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass, field, fields, replace
from pathlib import Path
from typing import Any, Final

import numpy as np

from mirrorprep.condition.check import check
from mirrorprep.condition.mend import mend
from mirrorprep.condition.mend_result import MendResult
from mirrorprep.condition.report import CheckReport
from mirrorprep.errors import JobFileError, NotASolidError
from mirrorprep.intake.read import read_scan
from mirrorprep.job.mould_record import mould_record
from mirrorprep.job.pour_request import pour_request
from mirrorprep.job.records import StageRecord
from mirrorprep.job.seat_request import joins_two_scans, landmark_pairs, seat_settings
from mirrorprep.job.tables import Job, MouldTable
from mirrorprep.measurement.least_wall import least_wall_mm
from mirrorprep.measurement.measure import measure
from mirrorprep.mould.build import build_mould
from mirrorprep.mould.settings import MouldSettings, mould_settings
from mirrorprep.pour.materials import Material, find_material
from mirrorprep.pour.plan import plan_pour
from mirrorprep.progress import Progress
from mirrorprep.seating.landmark_pairs import LandmarkPairs
from mirrorprep.seating.seat import seat
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

    @property
    def donor(self) -> Solid:
        """The healthy part, on the donor side."""
        return self.solid("seating" if "seating" in self.records else "condition", "part")

    @property
    def mirrored(self) -> Solid:
        """The part that is measured, cast and handed over."""
        return self.solid("seating" if "seating" in self.records else "symmetry", "mirrored")


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
    strain = {} if material.safe_strain is None else {"safe_strain": material.safe_strain.typical}
    return mould_settings(
        {
            **strain,
            **{name: getattr(job.mould, name) for name in _MOULD_ENTRIES},
            "job_code": job.job.code.upper(),
            "process": job.print.process,
            "bed_mm": job.print.bed_mm,
            "casting": "flexible" if material.flexible else "rigid",
            "shrinkage": material.shrinkage.typical,
        }
    )


def _files_of(job: Job) -> dict[str, tuple[str, str]]:
    """Return file and unit of every scan that a job names, by what it is.

    Raises
    ------
    JobFileError
        If both a part and a seating are asked for.
    """
    if job.part.file and job.seating.seat:
        raise JobFileError(
            "The job names a part file and asks for seating.",
            remedy="Leave part.file empty, so that the part is cut from the scan, or set seat = false.",
        )
    named = {
        "scan": (job.scan.file, job.scan.units),
        "part": (job.part.file, job.part.units),
        "recipient": (job.seating.recipient if job.seating.seat else "", job.seating.recipient_units),
    }
    return {name: entry for name, entry in named.items() if entry[0]}


def _intake(work: Work, progress: Progress) -> StageRecord:
    files = _files_of(work.job)
    shapes = {
        name: read_scan(work.folder / file, units=units or None, progress=progress)
        for name, (file, units) in files.items()
    }
    figures: dict[str, Any] = {}
    findings: list[Finding] = []
    for name, mesh in shapes.items():
        origin = mesh.origin
        file = work.folder / files[name][0]
        figures[name] = {
            "format": origin.format,
            "units": origin.units,
            "bytes": file.stat().st_size,
            "sha256": origin.sha256,
        }
        findings += origin.findings
    shapes = {name: _private(work, name, mesh) for name, mesh in shapes.items()}
    return StageRecord(name="intake", figures=figures, findings=distinct(findings), shapes=shapes)


def _private(work: Work, name: str, mesh: ScanMesh) -> ScanMesh:
    """Return a scan without colours and without what lies outside the region to keep, as the job asks."""
    table = work.job.scan
    if not table.colors:
        mesh = replace(mesh, colors=None)
    if name != "scan" or not table.keep_region:
        return mesh
    kept = mesh.faces[read_region(work.folder / table.keep_region).mask(mesh)]
    used, faces = np.unique(kept, return_inverse=True)
    colors = None if mesh.colors is None else mesh.colors[used]
    return replace(mesh, vertices=mesh.vertices[used], faces=faces.reshape(-1, 3), colors=colors)


def _condition(work: Work, progress: Progress) -> StageRecord:
    """Check every scan; mend, where needed, what must be a solid."""
    shapes = work.records["intake"].shapes
    reports = {"scan": check(work.mesh("intake", "scan"), accuracy_mm=work.job.scan.accuracy_mm)}
    findings = [*reports["scan"].findings]
    for name in [name for name in ("part", "recipient") if name in shapes]:
        reports[name] = check(work.mesh("intake", name))
        findings += [replace(f, message=f"The {name}: {f.message}") for f in reports[name].findings]
    figures: dict[str, Any] = {name: report.as_dict() for name, report in reports.items()}
    figures.setdefault("part", figures["scan"])
    solids: dict[str, Solid] = {}
    needed = list(reports) if work.job.seating.seat else ["part" if "part" in shapes else "scan"]
    for number, name in enumerate(needed):
        part = progress.part(0.4 + 0.6 * number / len(needed), 0.4 + 0.6 * (number + 1) / len(needed))
        solids[name], mended = _solid_of(work, name, reports[name], part)
        if mended is not None:
            figures["mended_recipient" if name == "recipient" else "mended"] = mended.as_dict()
            findings += mended.findings
    handed = solids if work.job.seating.seat else {"part": solids[needed[0]]}
    return StageRecord(name="condition", figures=figures, findings=distinct(findings), shapes=handed)


def _solid_of(
    work: Work, name: str, report: CheckReport, progress: Progress
) -> tuple[Solid, MendResult | None]:
    """Return a scan as a solid, mended where needed and allowed."""
    mesh = work.mesh("intake", name)
    if report.solid:
        return certify(mesh), None
    mended = mend(mesh, progress=progress) if work.job.part.mend else None
    if mended is None or mended.solid is None:
        raise NotASolidError(
            f"The {name} is no solid and could not be made one.",
            remedy="See 'mirrorprep check', close it by hand, or allow mending in [part].",
        )
    return mended.solid, mended


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
    seated = work.job.seating.seat
    return StageRecord(
        name="symmetry",
        figures=figures,
        findings=findings,
        shapes={} if seated else {"mirrored": mirror(work.solid("condition", "part"), plane)},
        arrays={"asymmetry_mm": asymmetry_map(work.mesh("intake", "scan"), plane)},
    )


def _seating(work: Work, progress: Progress) -> StageRecord:
    by: Plane | LandmarkPairs
    if joins_two_scans(work.job):
        by = landmark_pairs(work.job, work.folder)
    else:
        figures = work.records["symmetry"].figures
        by = Plane(normal=np.array(figures["normal"]), offset_mm=figures["offset_mm"])
    recipient = "recipient" if work.job.seating.recipient else "scan"
    seated = seat(
        work.solid("condition", "scan"),
        work.mesh("intake", recipient),
        by,
        body=work.solid("condition", recipient),
        settings=seat_settings(work.job, work.folder),
        progress=progress,
    )
    return StageRecord(
        name="seating",
        figures=seated.as_dict(),
        findings=seated.findings,
        shapes={"mirrored": seated.part, "part": seated.donor_part},
        arrays={
            "healthy_mm": seated.healthy.distance_mm,
            "back_mm": seated.back.deviation.distance_mm,
            "undercut_mm": seated.undercut.depth_mm,
        },
    )


def _measurement(work: Work, progress: Progress) -> StageRecord:
    part, material = work.mirrored, material_of(work.job)
    stated = work.job.material.least_wall_mm
    result = measure(
        part,
        accuracy_mm=work.job.scan.accuracy_mm,
        density_g_cm3=material.density_g_cm3.typical,
        least_wall_mm=stated or least_wall_mm(material.name, flexible=material.flexible),
        progress=progress,
    )
    arrays = {} if result.walls is None else {"wall_mm": result.walls.over(part)}
    return StageRecord(name="measurement", figures=result.as_dict(), findings=result.findings, arrays=arrays)


def _mould(work: Work, progress: Progress) -> StageRecord:
    mould = build_mould(work.mirrored, settings=settings_of(work.job), progress=progress)
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
    """One stage with its name, its share of the time, and the tables or single entries it looks at."""

    name: str
    stage: Stage
    share: float
    looks_at: tuple[str, ...]

    def entries_of(self, job: Job) -> dict[str, Any]:
        """Return the entries of a job that the stage looks at, by their full names."""
        found: dict[str, Any] = {}
        for place in self.looks_at:
            table, _, entry = place.partition(".")
            values = asdict(getattr(job, table))
            found |= {f"{table}.{name}": value for name, value in values.items() if entry in ("", name)}
        return found


FILES: Final = frozenset(
    f"{table}.{name}"
    for table, names in {
        "scan": ("file", "keep_region"),
        "part": ("file",),
        "plane": ("landmarks", "region"),
        "seating": ("recipient", "donor_landmarks", "recipient_landmarks", "loop"),
    }.items()
    for name in names
)
"""Entries that name a file beside the job file."""

_SCANS: Final = ("scan", "part", "seating.seat", "seating.recipient", "seating.recipient_units")


def steps_of(job: Job) -> tuple[Step, ...]:
    """Return the stages of a job in the order in which a scan walks through them.

    A job without a mould ends after measuring, one without seating leaves that out, and one whose two scans
    are joined by landmarks needs no mirror plane.
    """
    steps = (
        Step(name="intake", stage=_intake, share=0.05, looks_at=_SCANS),
        Step(name="condition", stage=_condition, share=0.15, looks_at=_SCANS),
        Step(name="symmetry", stage=_symmetry, share=0.1, looks_at=("plane", "seating.seat")),
        Step(name="seating", stage=_seating, share=0.1, looks_at=("job.tolerance_mm", "scan", "seating")),
        Step(name="measurement", stage=_measurement, share=0.1, looks_at=("scan", "material")),
        Step(name="mould", stage=_mould, share=0.2, looks_at=("mould", "print", "material")),
        Step(name="pour", stage=_pour, share=0.05, looks_at=("job.tolerance_mm", "material")),
    )
    left_out = set() if job.mould.build else {"mould", "pour"}
    left_out |= set() if job.seating.seat else {"seating"}
    left_out |= {"symmetry"} if joins_two_scans(job) else set()
    return tuple(step for step in steps if step.name not in left_out)

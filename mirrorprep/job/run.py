"""Running a job: the stages in order, then the files, written only when the verdict allows it."""

import shutil
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from mirrorprep.errors import OutputError, StoppedByFindingError
from mirrorprep.handover.atomic import output_folder
from mirrorprep.intake.identity import sha256_of
from mirrorprep.job.delivery import FILE_NAMES, Delivery, deliver
from mirrorprep.job.jobfile import read_job
from mirrorprep.job.mould_files import refuse_existing
from mirrorprep.job.records import StageRecord, Store, code_digest, digest
from mirrorprep.job.stages import FILES, Step, Work, distinct, steps_of
from mirrorprep.job.tables import Job
from mirrorprep.progress import SILENT, Progress
from mirrorprep.solid.finding import Finding

WORK_FOLDER: Final = ".work"


@dataclass(frozen=True, slots=True, kw_only=True)
class JobResult:
    """What a job came to.

    Attributes
    ----------
    status : str
        ``done``, or ``stopped`` by a finding that is not waived; then nothing was written.
    stages : tuple of StageRecord
        What each stage did, in order.
    stopped_by : tuple of Finding
        The findings that halted the job.
    delivery : Delivery or None
        The files written.
    """

    status: str
    stages: tuple[StageRecord, ...]
    stopped_by: tuple[Finding, ...]
    delivery: Delivery | None

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Everything the stages noticed, each once."""
        return distinct(finding for stage in self.stages for finding in stage.findings)

    @property
    def traveller(self) -> dict[str, str]:
        """Paths of the traveller by kind: html, pdf, json."""
        return {} if self.delivery is None else self.delivery.traveller

    @property
    def outputs(self) -> tuple[str, ...]:
        """Every file written."""
        return () if self.delivery is None else self.delivery.outputs

    def as_dict(self) -> dict[str, object]:
        """Return plain data for JSON."""
        return {
            "status": self.status,
            "stages": [stage.as_dict() for stage in self.stages],
            "stopped_by": [finding.as_dict() for finding in self.stopped_by],
            "traveller": self.traveller,
            "outputs": list(self.outputs),
        }

    def require_done(self) -> "JobResult":
        """Return the result, or raise what stopped it.

        Raises
        ------
        StoppedByFindingError
            If the job was stopped.
        """
        if self.stopped_by:
            first = self.stopped_by[0]
            raise StoppedByFindingError(
                f"Stopped by '{first.code}': {first.message}",
                remedy=f"{first.remedy} Or waive '{first.code}' in [waive], with responsibility.".strip(),
            )
        return self


def run_job(
    path: str | Path,
    *,
    folder: str | Path | None = None,
    lesson: bool = False,
    keep_region: str | Path | None = None,
    overwrite: bool = False,
    progress: Progress = SILENT,
) -> JobResult:
    """Run a job file from scan to traveller.

    Parameters
    ----------
    path : path-like
        Job file; the files it names are relative to it.
    folder : path-like, optional
        Folder for the results instead of the one the job names.
    lesson : bool
        Write the lesson too, whatever the job says.
    keep_region : path-like, optional
        Region file instead of the one the job names.
    overwrite : bool
        Replace results that exist.
    progress : Progress
        Reporter.

    Returns
    -------
    JobResult
        Records of the stages and the files written; check `status`.

    Raises
    ------
    MirrorPrepError
        If a file cannot be read or written, or a stage cannot go on.
    """
    file = Path(path)
    job = read_job(file)
    if lesson:
        job = replace(job, output=replace(job.output, lesson=True))
    if keep_region is not None:
        job = replace(job, scan=replace(job.scan, keep_region=str(Path(keep_region).resolve())))
    target = file.parent / job.output.folder if folder is None else Path(folder)
    return run_stages(job, base=file.parent, target=target, overwrite=overwrite, progress=progress)


def run_stages(
    job: Job, *, base: Path, target: Path, overwrite: bool = False, progress: Progress = SILENT
) -> JobResult:
    """Run the stages of a checked job whose files lie in `base`, and deliver into `target`.

    Finished stages are kept in ``target/.work`` until the job is done, so that a job which was stopped, by
    an error, a finding or a lost machine, goes on where it stood. A stage is taken up again only when
    everything it depends on is unchanged: the code, the entries of the job and the files it looks at, and
    the stages before it. Every stage works on what the store gives back, so that a resumed job makes the
    same bytes.
    """
    refuse_existing([target / name for name in FILE_NAMES], overwrite=overwrite)
    store = Store(output_folder(target / WORK_FOLDER))
    work = run_through(planned(job, base), Work(job=job, folder=base), store, progress=progress)
    if work.stops():
        return _result("stopped", work, None)
    done = sum(step.share for step in steps_of(job))
    delivery = deliver(work, target, overwrite=overwrite, progress=progress.part(done, 1.0))
    shutil.rmtree(store.folder)
    return _result("stopped" if work.stops() else "done", work, delivery)


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedStep:
    """A stage of one job with the key under which its record is kept."""

    step: Step
    key: str


def planned(
    job: Job, base: Path, *, digest_of: Callable[[Path], str] | None = None
) -> tuple[PlannedStep, ...]:
    """Return the stages of a job in order, each with its key.

    A key covers the code, the entries of the job that the stage looks at, digests of the files they name,
    and the keys of the stages before it. `digest_of` may stand in for hashing every file anew.
    """
    hashed = digest_of or digest_of_file
    key = digest(code_digest())
    plan = []
    for step in steps_of(job):
        entries = step.entries_of(job)
        named = {name: hashed(base / value) for name, value in entries.items() if name in FILES and value}
        key = digest(key, step.name, entries, named)
        plan.append(PlannedStep(step=step, key=key))
    return tuple(plan)


def run_through(
    plan: Sequence[PlannedStep], work: Work, store: Store, *, progress: Progress = SILENT
) -> Work:
    """Run the stages of a plan that the store does not hold, until its end or a finding that stops the job.

    Returns
    -------
    Work
        The one given, with the records of the stages.

    Raises
    ------
    MirrorPrepError
        If a stage cannot go on; the stages before it stay in the store.
    """
    done = 0.0
    for item in plan:
        step = item.step
        progress.step(step.name, done)
        record = store.recall(step.name, item.key)
        if record is None:
            store.keep(step.stage(work, progress.part(done, done + step.share)), step.name, item.key)
            record = store.recall(step.name, item.key)
        if record is None:
            raise OutputError(f"'{store.file(step.name)}' cannot be read back.", remedy="Check the disk.")
        work.records[step.name] = record
        done += step.share
        if work.stops():
            break
    return work


def _result(status: str, work: Work, delivery: Delivery | None) -> JobResult:
    return JobResult(
        status=status, stages=tuple(work.records.values()), stopped_by=work.stops(), delivery=delivery
    )


def digest_of_file(file: Path) -> str:
    """Return the digest of a file, empty when it cannot be read: the stage that needs it says so."""
    try:
        return sha256_of(file.read_bytes()) if file.is_file() else ""
    except OSError:
        return ""

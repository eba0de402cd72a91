"""Running a job: the stages in order, then the files, written only when the verdict allows it."""

from dataclasses import dataclass
from pathlib import Path

from mirrorprep.errors import StoppedByFindingError
from mirrorprep.job.delivery import Delivery, deliver
from mirrorprep.job.jobfile import read_job
from mirrorprep.job.stages import STAGES, StageRecord, Work
from mirrorprep.job.tables import Job
from mirrorprep.progress import SILENT, Progress
from mirrorprep.solid.finding import Finding


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
    def traveller(self) -> dict[str, str | None]:
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
    target = file.parent / job.output.folder if folder is None else Path(folder)
    return run_stages(job, base=file.parent, target=target, overwrite=overwrite, progress=progress)


def run_stages(
    job: Job, *, base: Path, target: Path, overwrite: bool = False, progress: Progress = SILENT
) -> JobResult:
    """Run the stages of a checked job whose files lie in `base`, and deliver into `target`."""
    work = Work(job=job, folder=base)
    done = 0.0
    for name, stage, share in STAGES:
        progress.step(name, done)
        work.records.append(stage(work, progress.part(done, done + share)))
        done += share
        stops = work.stops()
        if stops:
            return JobResult(
                status="stopped", stages=tuple(work.records), stopped_by=tuple(stops), delivery=None
            )
    delivery = deliver(work, target, overwrite=overwrite, progress=progress.part(done, 1.0))
    stops = work.stops()
    return JobResult(
        status="stopped" if stops else "done",
        stages=tuple(work.records),
        stopped_by=tuple(stops),
        delivery=delivery,
    )

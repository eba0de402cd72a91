"""The plan of a job's pour alone, without writing anything."""

from pathlib import Path

from mirrorprep.errors import JobFileError
from mirrorprep.job.jobfile import read_job
from mirrorprep.job.pour_request import pour_request
from mirrorprep.job.stages import Work, material_of, steps_of
from mirrorprep.pour.plan import PourPlan, plan_pour
from mirrorprep.progress import SILENT, Progress


def plan_of_job(path: Path | str, *, progress: Progress = SILENT) -> PourPlan:
    """Run a job as far as its mould and plan the pour.

    Raises
    ------
    JobFileError
        If the job builds no mould.
    """
    file = Path(path)
    job = read_job(file)
    if not job.mould.build:
        raise JobFileError("The job builds no mould.", remedy="Set build = true in [mould].")
    work = Work(job=job, folder=file.parent)
    done = 0.0
    for step in steps_of(job):
        if step.name == "pour":
            break
        work.records[step.name] = step.stage(work, progress.part(done, done + step.share))
        done += step.share
    request = pour_request(work.records["mould"], material_of(job), tolerance_mm=job.job.tolerance_mm)
    return plan_pour(request, progress=progress.part(done, 1.0))

"""What the child process does: stages up to a step, the handover, the demonstration scan."""

import os
import shutil
from pathlib import Path
from typing import Final

from mirrorprep.bench.worker import Task
from mirrorprep.handover.atomic import output_folder
from mirrorprep.job.delivery import FILE_NAMES, deliver
from mirrorprep.job.demo import lay_demo
from mirrorprep.job.jobfile import check_job, job_from
from mirrorprep.job.records import StageRecord, Store
from mirrorprep.job.run import WORK_FOLDER, JobResult, PlannedStep, run_through
from mirrorprep.job.stages import Work, steps_of
from mirrorprep.progress import Progress

HANDOVER: Final = "handover"
_STAGED: Final = "handover"


class Chores:
    """Does tasks one after another, and keeps the records it has read for the next."""

    def __init__(self) -> None:
        self._store: Store | None = None

    def do(self, task: Task, progress: Progress) -> None:
        """Do a task.

        Raises
        ------
        MirrorPrepError
            If it cannot be done; a finding that stops the job counts.
        """
        folder = Path(task.folder)
        if task.kind == "demo":
            lay_demo(folder, detail=task.detail, overwrite=True, progress=progress)
        else:
            self._run(task, folder, progress)

    def _run(self, task: Task, folder: Path, progress: Progress) -> None:
        job = check_job(job_from(task.tables))
        if self._store is None or self._store.folder != folder / WORK_FOLDER:
            self._store = Store(output_folder(folder / WORK_FOLDER))
        plan = [
            PlannedStep(step=step, key=task.keys[step.name])
            for step in steps_of(job)
            if step.name in task.keys
        ]
        work = run_through(plan, Work(job=job, folder=folder), self._store, progress=progress)
        _halt(work)
        if task.deliver_as:
            share = sum(item.step.share for item in plan)
            progress.step(HANDOVER, share)
            self._hand_over(task, work, progress.part(share, 1.0))
            _halt(work)

    def _hand_over(self, task: Task, work: Work, progress: Progress) -> None:
        """Deliver into a folder of its own first, so that a cancelled handover leaves the last one whole."""
        store = self._store
        assert store is not None  # noqa: S101 - _run has made it
        staged = store.folder / _STAGED
        shutil.rmtree(staged, ignore_errors=True)
        delivery = deliver(work, staged, progress=progress)
        names = [Path(path).name for path in delivery.outputs]
        target = output_folder(Path(task.folder) / work.job.output.folder)
        store.file(HANDOVER).unlink(missing_ok=True)
        for name in dict.fromkeys((*FILE_NAMES, *names)):
            if name in names:
                os.replace(staged / name, target / name)
            else:
                (target / name).unlink(missing_ok=True)
        shutil.rmtree(staged, ignore_errors=True)
        store.keep(_record(work, names), HANDOVER, task.deliver_as)


def _record(work: Work, names: list[str]) -> StageRecord:
    """Return what the handover noticed, and which files it made."""
    late = [work.records[name] for name in (HANDOVER, "pictures") if name in work.records]
    figures = work.records[HANDOVER].figures if HANDOVER in work.records else {}
    return StageRecord(
        name=HANDOVER,
        figures={**figures, "files": names},
        findings=tuple(finding for record in late for finding in record.findings),
    )


def _halt(work: Work) -> None:
    """Raise what stops the job, as on the command line."""
    stops = work.stops()
    if stops:
        JobResult(
            status="stopped", stages=tuple(work.records.values()), stopped_by=stops, delivery=None
        ).require_done()

"""The desk: one job folder, the child that works on it, and what the page is told of both."""

import threading
from pathlib import Path
from typing import Any, Final

from mirrorprep.bench.chores import HANDOVER
from mirrorprep.bench.folder import Digests, JobFolder, JobState, is_bare_name
from mirrorprep.bench.kinds import kind_of
from mirrorprep.bench.runner import BusyError, Runner
from mirrorprep.bench.steps import STEPS, Standing, step_named
from mirrorprep.bench.worker import Task
from mirrorprep.errors import JobFileError, MirrorPrepError, UsageError
from mirrorprep.job.records import Glance, digest, glance
from mirrorprep.job.run import planned
from mirrorprep.job.stages import Step

_ORDER: Final = tuple(dict.fromkeys(step.stage for step in STEPS))
_DELIVERED_FROM: Final = ("job", "output", "waive")


class Desk:
    """Everything behind the page of one job.

    Parameters
    ----------
    folder : Path
        The job's folder, made when absent.

    Raises
    ------
    OutputError
        If another bench holds the folder, or it cannot be written.
    """

    def __init__(self, folder: Path) -> None:
        self.files = JobFolder(folder)
        self.digests = Digests()
        self.runner = Runner(self.touch)
        self._revision = 1
        self._change = threading.RLock()
        self._seen_job = -1
        self._standing: tuple[object, Standing] | None = None
        self._glances: dict[str, tuple[object, Glance | None]] = {}

    def close(self) -> None:
        """End the child and let the folder go."""
        self.runner.close()
        self.files.close()

    def touch(self) -> None:
        """Note that something has changed."""
        with self._change:
            self._revision += 1

    @property
    def revision(self) -> int:
        """Rises whenever the state changes; a job file changed by hand counts."""
        with self._change:
            job = self.files.current().revision
            if job != self._seen_job:
                self._seen_job = job
                self._revision += 1
            return self._revision

    def standing(self) -> Standing:
        """Return where the job stands."""
        with self._change:
            state = self.files.current()
            kept = {stage: found for stage in _ORDER if (found := self._glance(stage)) is not None}
            return Standing(keys=self.keys(state), kept=kept, job=state.job)

    def keys(self, state: JobState) -> dict[str, str]:
        """Return the key of every stage that the job goes through; empty when it cannot run."""
        if state.job is None or state.problem is not None:
            return {}
        plan = planned(state.job, self.files.folder, digest_of=self.digests.of)
        keys = {item.step.name: item.key for item in plan}
        entries: dict[str, Any] = {}
        for table in _DELIVERED_FROM:
            step = Step(name=HANDOVER, stage=_never, share=0.0, looks_at=(table,))
            entries |= step.entries_of(state.job)
        last = plan[-1].key if plan else ""
        return {**keys, HANDOVER: digest(last, HANDOVER, entries)}

    def _glance(self, stage: str) -> Glance | None:
        file = self.files.store / f"{stage}.npz"
        try:
            found = file.stat()
            stamp: object = (found.st_ino, found.st_mtime_ns, found.st_size)
        except OSError:
            stamp = None
        held = self._glances.get(stage)
        if held is None or held[0] != stamp:
            held = (stamp, glance(file) if stamp is not None else None)
            self._glances[stage] = held
        return held[1]

    def state(self) -> dict[str, object]:
        """Return the state of the page as plain data."""
        revision = self.revision
        job, standing = self.files.current(), self.standing()
        running, failed = self.runner.running, self.runner.failed
        return {
            "revision": revision,
            "job_revision": job.revision,
            "folder": self.files.folder.name,
            "job": job.tables,
            "problem": None if job.problem is None else told(job.problem),
            "running": None if running is None else {**running.as_dict(), "step": _step_of(running.stage)},
            "failed": None if failed is None else {**failed, "step": _step_of(failed["step"])},
            "steps": standing.as_list(),
            "outputs": self.outputs(standing),
        }

    def outputs(self, standing: Standing) -> list[dict[str, object]]:
        """Return the files of the last handover that are still there."""
        found = []
        for name in _delivered(standing):
            file = self.output(name, standing)
            if file is not None:
                found.append({"name": name, "bytes": file.stat().st_size, "kind": kind_of(name)})
        return found

    def output(self, name: str, standing: Standing) -> Path | None:
        """Return a file of the last handover, None when there is none of that name."""
        if standing.job is None or name not in _delivered(standing) or not is_bare_name(name):
            return None
        try:
            file = self.files.inside(f"{standing.job.output.folder}/{name}")
        except UsageError:
            return None
        return file if file.is_file() else None

    def run(self, step_name: str) -> None:
        """Begin to run everything up to a step that is not done.

        Raises
        ------
        UsageError
            If there is no such step.
        JobFileError
            If the job cannot run as it stands.
        BusyError
            If something is under way.
        """
        step = step_named(step_name)
        if step is None:
            names = ", ".join(step.name for step in STEPS)
            raise UsageError(f"'{step_name}' is no step.", remedy=f"Name one of {names}.")
        state = self.files.current()
        if state.problem is not None:
            raise state.problem
        keys = self.keys(state)
        through = _ORDER[: _ORDER.index(step.stage) + 1]
        deliver_as = keys[HANDOVER] if step.stage == HANDOVER else ""
        if deliver_as and state.job is not None:
            self.files.inside(state.job.output.folder)
        task = Task(
            kind="run",
            folder=str(self.files.folder),
            tables=state.tables,
            keys={name: key for name, key in keys.items() if name in through and name != HANDOVER},
            deliver_as=deliver_as,
        )
        self.runner.start(task, tuple(name for name in _ORDER if name in keys and name in through))

    def demo(self, *, detail: str, replace: bool) -> None:
        """Begin to lay the demonstration scan and its job into the folder.

        Raises
        ------
        BusyError
            If something is under way, or the job has a scan and `replace` is False.
        UsageError
            If the detail is unknown.
        """
        if detail not in ("full", "small"):
            raise UsageError(f"The detail is '{detail}'.", remedy="Give full or small.")
        job = self.files.current().job
        if job is not None and job.scan.file and not replace:
            raise BusyError(
                "The job has a scan already.",
                remedy="Start a bench on another folder for the demonstration.",
            )
        for name in ("head.ply", "job.toml"):
            self.files.inside(name)
        self.runner.start(
            Task(kind="demo", folder=str(self.files.folder), tables={}, keys={}, detail=detail), ()
        )


def _delivered(standing: Standing) -> tuple[str, ...]:
    """Return the names of the files of the last handover."""
    kept = standing.kept.get(HANDOVER)
    return () if kept is None else tuple(kept.record.figures.get("files", ()))


def told(error: MirrorPrepError) -> dict[str, object]:
    """Return an error as the page is told of it."""
    return {"message": error.message, "remedy": error.remedy, "exit_code": error.exit_code}


def _step_of(stage: str) -> str:
    return next((step.name for step in STEPS if step.stage == stage), "scan" if stage == "demo" else stage)


def _never(*_: object) -> Any:  # noqa: ANN401
    raise JobFileError("The handover is no stage.", remedy="Use deliver.")

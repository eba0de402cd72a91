"""The parent's side of the child process: starting it, hearing from it, ending it."""

import threading
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing import get_context
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Any, Final

from mirrorprep.bench.worker import Task, failure, serve
from mirrorprep.errors import MirrorPrepError
from mirrorprep.handover.atomic import remove_leftovers
from mirrorprep.job.run import WORK_FOLDER

_PATIENCE_S: Final = 5.0


class BusyError(MirrorPrepError):
    """Something else is being done already."""

    exit_code = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Running:
    """What the child is at.

    Attributes
    ----------
    stage : str
        The stage, or ``demo``.
    label : str
        What it says of itself.
    fraction : float
        Of the whole task.
    since : float
        ``time.monotonic()`` of its start.
    """

    stage: str
    label: str
    fraction: float
    since: float

    def as_dict(self) -> dict[str, object]:
        """Return plain data for JSON."""
        seconds = round(time.monotonic() - self.since, 1)
        return {"step": self.stage, "label": self.label, "fraction": self.fraction, "seconds": seconds}


class Runner:
    """One child process at a time; it is kept for the next task, and replaced when it ended.

    Parameters
    ----------
    changed : callable
        Called, from another thread, whenever `running` or `failed` changes.
    """

    def __init__(self, changed: Callable[[], None]) -> None:
        self._changed = changed
        self._guard = threading.RLock()
        self._child: tuple[BaseProcess, Connection] | None = None
        self._cancelled = False
        self.running: Running | None = None
        self.failed: dict[str, Any] | None = None

    def warm(self) -> None:
        """Start the child now, so that the first task need not wait for it."""
        with self._guard:
            self._ready()

    def start(self, task: Task, stages: tuple[str, ...]) -> None:
        """Begin a task.

        Parameters
        ----------
        task : Task
            What to do.
        stages : tuple of str
            Names of stages; a progress label that is one of them tells that the child has come to it.

        Raises
        ------
        BusyError
            If another is still under way.
        """
        with self._guard:
            if self.running is not None:
                raise BusyError(
                    f"The bench is still busy with '{self.running.stage}'.",
                    remedy="Wait until it has ended, or cancel it.",
                )
            self.failed, self._cancelled = None, False
            process, pipe = self._ready()
            pipe.send(task)
            first = stages[0] if stages else task.kind
            self.running = Running(stage=first, label="starting", fraction=0.0, since=time.monotonic())
            threading.Thread(target=self._hear, args=(process, pipe, task, stages), daemon=True).start()
        self._changed()

    def refuse_while_running(self) -> None:
        """Raise `BusyError` while the child may be reading the job's files."""
        if self.running is not None:
            raise BusyError(
                "The bench is busy, and the files it works on cannot be changed now.",
                remedy="Wait until it has ended, or cancel it.",
            )

    def cancel(self) -> bool:
        """End the task under way; return whether there was one. What had been finished stays."""
        with self._guard:
            if self.running is None or self._child is None:
                return False
            self._cancelled = True
            self._child[0].terminate()
            self._child = None
        return True

    def close(self) -> None:
        """End the child."""
        with self._guard:
            self._cancelled = True
            child, self._child = self._child, None
        if child is not None:
            _end(child[0])
            child[1].close()

    def _ready(self) -> tuple[BaseProcess, Connection]:
        if self._child is None or not self._child[0].is_alive():
            context = get_context("spawn")
            pipe, far = context.Pipe()
            process = context.Process(target=serve, args=(far,), daemon=True, name="mirrorprep-bench-work")
            process.start()
            far.close()
            self._child = (process, pipe)
        return self._child

    def _hear(self, process: BaseProcess, pipe: Connection, task: Task, stages: tuple[str, ...]) -> None:
        """Follow a task to its end, in a thread."""
        ended: dict[str, Any] | None
        try:
            ended = self._follow(pipe, stages)
        except (EOFError, OSError):
            _end(process)
            ended = None if self._cancelled else self._crash(process)
            with suppress(OSError):
                pipe.close()
            for place in (Path(task.folder), Path(task.folder) / WORK_FOLDER):
                remove_leftovers(place)
        with self._guard:
            stage = self.running.stage if self.running is not None else task.kind
            self.failed = None if ended is None else {"step": stage, **ended}
            if not process.is_alive() and self._child is not None and self._child[0] is process:
                self._child = None
            self.running = None
        self._changed()

    def _follow(self, pipe: Connection, stages: tuple[str, ...]) -> dict[str, Any] | None:
        while True:
            word, told = pipe.recv()
            if word == "progress":
                self._progress(told, stages)
            else:
                return told if word == "failed" else None

    def _progress(self, told: tuple[str, float], stages: tuple[str, ...]) -> None:
        label, fraction = told
        with self._guard:
            if self.running is not None:
                stage = label if label in stages else self.running.stage
                since = self.running.since
                self.running = Running(stage=stage, label=label, fraction=fraction, since=since)
        self._changed()

    def _crash(self, process: BaseProcess) -> dict[str, Any]:
        stage = self.running.stage if self.running is not None else "work"
        code = process.exitcode
        how = f"signal {-code}" if code is not None and code < 0 else f"exit code {code}"
        return failure(
            f"The work on '{stage}' was ended from outside or crashed ({how}).",
            "Run it again; if memory was short, thin the scan first.",
            1,
        )


def _end(process: BaseProcess) -> None:
    process.terminate()
    process.join(_PATIENCE_S)
    if process.is_alive():
        process.kill()
        process.join(_PATIENCE_S)

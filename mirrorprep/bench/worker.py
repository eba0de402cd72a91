"""The child process that does the long work: it takes tasks over a pipe and tells how far it is."""

import os
import signal
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from multiprocessing import parent_process
from multiprocessing.connection import Connection
from typing import Any, Final

from mirrorprep.errors import MirrorPrepError
from mirrorprep.progress import Progress

_PAUSE_S: Final = 0.1

Message = tuple[str, Any]
"""``("progress", (label, fraction))``, ``("done", None)`` or ``("failed", failure)``."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """What the child shall do.

    Attributes
    ----------
    kind : str
        ``run`` or ``demo``.
    folder : str
        The job's folder.
    tables : dict
        What the job states.
    keys : dict of str to str
        The key of each stage up to the last that shall run.
    deliver_as : str
        Key of the handover, when that is asked for; else empty.
    detail : str
        Detail of the demonstration scan.
    """

    kind: str
    folder: str
    tables: dict[str, Any]
    keys: dict[str, str]
    deliver_as: str = ""
    detail: str = "full"


def serve(pipe: Connection) -> None:
    """Do the tasks that come over the pipe until it closes."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the parent's to answer
    threading.Thread(target=_end_with_parent, daemon=True).start()
    from mirrorprep.bench.chores import Chores

    chores = Chores()
    while True:
        try:
            task = pipe.recv()
        except (EOFError, OSError):
            return
        pipe.send(_answer(chores.do, task, pipe))


def _end_with_parent() -> None:
    parent = parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def _answer(do: Callable[[Task, Progress], None], task: Task, pipe: Connection) -> Message:
    try:
        do(task, Progress(_Reporter(pipe)))
    except MirrorPrepError as error:
        return "failed", failure(error.message, error.remedy, error.exit_code)
    except MemoryError:
        return "failed", failure("Out of memory.", "Close other programs or thin the scan.", 1)
    except Exception as error:  # noqa: BLE001 - the page must live on
        words = f"This is a bug ({type(error).__name__}: {error})."
        return "failed", failure(words, "Report it without any scan of a person.", 1)
    return "done", None


def failure(message: str, remedy: str, exit_code: int) -> dict[str, Any]:
    """Return how a task ended as plain data."""
    return {"message": message, "remedy": remedy, "exit_code": exit_code}


class _Reporter:
    """Sends progress over a pipe, a few times a second."""

    def __init__(self, pipe: Connection) -> None:
        self._pipe = pipe
        self._last = ("", -1.0)

    def __call__(self, label: str, fraction: float) -> None:
        now = time.monotonic()
        if label == self._last[0] and now - self._last[1] < _PAUSE_S:
            return
        self._last = (label, now)
        self._pipe.send(("progress", (label, fraction)))

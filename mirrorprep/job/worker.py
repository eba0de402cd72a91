"""One scan of a cohort, run in a worker process or on a cluster: plain data in, plain data out."""

import faulthandler
import os
import re
import tempfile
import threading
import time
from collections.abc import Sequence
from contextlib import suppress
from multiprocessing import parent_process
from pathlib import Path
from typing import Any, Final

from mirrorprep.errors import MirrorPrepError
from mirrorprep.progress import Progress

FIGURES: Final = {
    "triangles": ("condition", "scan", "triangles"),
    "plane_status": ("symmetry", "status"),
    "asymmetry_rms_mm": ("symmetry", "asymmetry_rms_mm"),
    "sd_deg": ("symmetry", "sd_deg"),
    "volume_mm3": ("measurement", "volume_mm3"),
    "min_wall_mm": ("measurement", "min_wall_mm"),
    "mass_g": ("measurement", "mass_g"),
    "trapped_mm3": ("mould", "trapped_mm3"),
    "max_undercut_mm": ("mould", "max_undercut_mm"),
    "release_interference_mm3": ("mould", "release_interference_mm3"),
    "trapped_air_mm3": ("pour", "filling", "trapped_mm3"),
    "fill_time_s": ("pour", "fill_time_s"),
}
"""Columns of the cohort summary, and where each stands in the stages' figures."""

_SHORTEST_NAME: Final = 4  # shorter stems, such as 'a', are words of the message


def start_worker(core: int | None) -> None:
    """Prepare a worker process: it ends when its parent does, and it keeps to one core.

    Scans are independent, so that cores spent across them are spent better than within one: libraries that
    would start a thread per core then start one. Where the system cannot hold a process to a core, or `core`
    is None, the worker takes what it gets.
    """
    if core is not None and hasattr(os, "sched_setaffinity"):
        with suppress(OSError):
            os.sched_setaffinity(0, {core})
    _end_with_parent()


def cores() -> list[int]:
    """Return the cores that this process may use, empty where the system does not say."""
    return sorted(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else []


def _end_with_parent() -> None:
    parent = parent_process()
    if parent is None:
        return

    def watch() -> None:
        parent.join()
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()


def run_task(task: dict[str, Any], content: bytes | None = None) -> dict[str, Any]:
    """Run the job of one scan and return how it ended; no error leaves this function.

    Parameters
    ----------
    task : dict
        ``code``, ``job`` (tables of the job), ``file`` (path of the scan), ``folder`` (for the results),
        ``time_limit_s`` (0 for none).
    content : bytes, optional
        The scan itself, where the path means nothing to this machine; the results then come back as
        ``files``.

    Returns
    -------
    dict
        ``state, exit_code, message, seconds, timings, peak_mib, result``, and ``files`` when `content` was
        given. ``timings`` holds the seconds of each stage.
    """
    began = time.perf_counter()
    with _time_limit(float(task["time_limit_s"])):
        if content is None:
            outcome = _outcome(task, Path(task["file"]), Path(task["folder"]))
        else:
            with tempfile.TemporaryDirectory() as place:
                file = Path(place) / f"scan{Path(task['file']).suffix}"
                file.write_bytes(content)
                results = Path(place) / "results"
                outcome = _outcome(task, file, results)
                outcome["files"] = _files(results)
    return {**outcome, "seconds": time.perf_counter() - began, "peak_mib": _peak_mib()}


def _files(folder: Path) -> dict[str, bytes]:
    found = sorted(folder.iterdir()) if folder.is_dir() else []
    return {path.name: path.read_bytes() for path in found if path.is_file()}


class _time_limit:  # noqa: N801 - reads as a statement
    """End the process, from a thread that needs no interpreter lock, when a scan takes too long."""

    def __init__(self, seconds: float) -> None:
        self._seconds = seconds
        self._sink: Any = None

    def __enter__(self) -> None:
        if self._seconds > 0:
            self._sink = open(os.devnull, "w")
            faulthandler.dump_traceback_later(self._seconds, exit=True, file=self._sink)

    def __exit__(self, *_: object) -> None:
        if self._sink is not None:
            faulthandler.cancel_dump_traceback_later()
            self._sink.close()


def _outcome(task: dict[str, Any], file: Path, folder: Path) -> dict[str, Any]:
    try:
        return _run(task, file, folder)
    except MirrorPrepError as error:
        return _failure(error.exit_code, nameless(str(error), file, task["code"]))
    except MemoryError:
        return _failure(1, "Out of memory. Give the batch fewer workers.")
    except Exception as error:  # noqa: BLE001 - one scan must not end the cohort
        return _failure(1, nameless(f"This is a bug ({type(error).__name__}: {error}).", file, task["code"]))


def _run(task: dict[str, Any], file: Path, folder: Path) -> dict[str, Any]:
    from mirrorprep.job.jobfile import check_job, job_from
    from mirrorprep.job.run import run_stages
    from mirrorprep.job.stages import steps_of

    tables = task["job"]
    tables = {
        **tables,
        "job": {**tables.get("job", {}), "code": task["code"]},
        "scan": {**tables.get("scan", {}), "file": file.name},
    }
    job = check_job(job_from(tables))
    watch = StageWatch([step.name for step in steps_of(job)])
    result = run_stages(
        job, base=file.parent, target=folder, overwrite=True, progress=Progress(report=watch.report)
    )
    figures = {stage.name: stage.figures for stage in result.stages}
    summary = {name: _dig(figures, path) for name, path in FIGURES.items()}
    findings = sorted({finding.code for stage in result.stages for finding in stage.findings})
    stopped = result.stopped_by[0] if result.stopped_by else None
    return {
        "state": result.status,
        "exit_code": 6 if stopped else 0,
        "message": f"{stopped.code}: {stopped.message}" if stopped else "",
        "timings": watch.seconds(),
        "result": {
            "figures": summary,
            "findings": findings,
            "outputs": [Path(o).name for o in result.outputs],
        },
    }


def _failure(exit_code: int, message: str) -> dict[str, Any]:
    return {"state": "failed", "exit_code": exit_code, "message": message, "timings": {}, "result": {}}


class StageWatch:
    """Notes when each stage begins, from the progress that a run reports."""

    def __init__(self, names: Sequence[str]) -> None:
        self._names, self._began = tuple(names), dict[str, float]()

    def report(self, label: str, fraction: float) -> None:
        """Take a report of progress."""
        del fraction
        if label in self._names:
            self._began.setdefault(label, time.perf_counter())

    def seconds(self) -> dict[str, float]:
        """Return the seconds from each stage to the next, the last one with the writing of the files."""
        ends = [*list(self._began.values())[1:], time.perf_counter()]
        return {
            name: round(end - began, 3)
            for (name, began), end in zip(self._began.items(), ends, strict=bool(self._began))
        }


def nameless(message: str, file: Path, code: str) -> str:
    """Return the message with the scan's path and name replaced by its code."""
    for name in (str(file), file.name, file.stem):
        if len(name) >= _SHORTEST_NAME:
            message = re.sub(rf"(?<!\w){re.escape(name)}(?!\w)", lambda _: code, message)
    return message


def _dig(figures: dict[str, Any], path: tuple[str, ...]) -> Any:  # noqa: ANN401 - plain data
    for name in path:
        figures = figures.get(name) if isinstance(figures, dict) else None  # type: ignore[assignment]
    return figures


def _peak_mib() -> float | None:
    with suppress(ImportError):
        import resource
        import sys

        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        return peak / (1024.0**2 if sys.platform == "darwin" else 1024.0)
    return None

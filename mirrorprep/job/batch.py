"""Many scans: the same job for each, on the cores of this machine or on a cluster that is already there."""

import csv
import hashlib
import itertools
import queue
import threading
import time
import tomllib
from collections.abc import Iterable
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path
from typing import Any, Final

from mirrorprep.errors import InputFileError, JobFileError, MissingExtraError
from mirrorprep.handover.atomic import output_folder, write_bytes
from mirrorprep.job.cohort import write_summary
from mirrorprep.job.jobfile import check_job, job_from, read_job
from mirrorprep.job.ledger import LEDGER_FILE, Entry, Ledger
from mirrorprep.job.records import code_digest, digest
from mirrorprep.job.worker import cores, run_task, start_worker
from mirrorprep.progress import SILENT, Progress

SUFFIXES: Final = (".stl", ".ply", ".obj", ".off", ".glb", ".3mf")
_MOST_ATTEMPTS: Final = 2
_BASE_MIB: Final = 450.0
_MIB_PER_FILE_MIB: Final = 60.0
_SPARE: Final = 0.8
"""A worker holds about 450 MiB of libraries and 3 KiB per triangle (50 bytes of a binary file); at most four
fifths of the memory at hand are given out."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """One scan to run."""

    entry: Entry
    plain: dict[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Cluster:
    """A dask.distributed cluster that is already there.

    Attributes
    ----------
    address : str
        Of its scheduler.
    shared_files : bool
        Its workers see the same files under the same paths: only paths travel, and the workers write the
        results. Otherwise scans travel by their content, and results come back as bytes.
    """

    address: str
    shared_files: bool = False


def run_batch(
    source: Path | str,
    template: Path | str,
    folder: Path | str,
    *,
    workers: int | None = None,
    time_limit_s: float = 0.0,
    cluster: Cluster | None = None,
    progress: Progress = SILENT,
) -> list[Entry]:
    """Run one job per scan and return the ledger's rows.

    Parameters
    ----------
    source : path-like
        Folder of scans, or a CSV file with the column ``file`` and, if wanted, ``code``.
    template : path-like
        Job file; its scan is replaced, its subject code is followed by the first eight digits of the scan's
        digest unless the list gives a code.
    folder : path-like
        Gets one folder per subject code, and the ledger. An earlier batch in it is resumed.
    workers : int, optional
        Processes on this machine, each on a core of its own; as many as there are cores when left out.
    time_limit_s : float
        A scan that takes longer fails; 0 for no limit.
    cluster : Cluster, optional
        Cluster engine to run on instead.
    progress : Progress
        Reporter.

    Returns
    -------
    list of Entry
        One per scan, in the order of the codes; the same for any number of workers.

    Raises
    ------
    InputFileError
        If there is no scan.
    JobFileError
        If the template is wrong, or the folder holds a batch of another template.
    MissingExtraError
        If `cluster` is given and dask is not installed.
    """
    tables = _tables(template)
    place = output_folder(folder)
    ledger = Ledger(place / LEDGER_FILE)
    mark = digest(tables, code_digest())
    if ledger.setting("template", mark) != mark:
        raise JobFileError(
            f"'{place}' holds a batch of another job file, or of another version of mirrorprep.",
            remedy="Choose another folder, or that job file and version.",
        )
    tasks = _tasks(source, tables, place, time_limit_s)
    ledger.add(task.entry for task in tasks)
    open_codes = {e.code for e in ledger.entries() if e.state == "waiting"}
    waiting = [task for task in tasks if task.entry.code in open_codes]
    report = Reporter(waiting, progress)
    if cluster is None:
        _on_this_machine(waiting, ledger, report, workers=workers or max(len(cores()), 1))
    else:
        _on_cluster(waiting, ledger, report, cluster=cluster)
    entries = ledger.entries()
    write_summary(entries, place)
    return entries


def _tables(template: Path | str) -> dict[str, Any]:
    """Return the template's tables; all but the scan must be right."""
    file = Path(template)
    try:
        tables = tomllib.loads(file.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError):
        read_job(file)
        raise
    check_job(job_from({**tables, "scan": {**tables.get("scan", {}), "file": "scan"}}))
    return tables


def _tasks(source: Path | str, tables: dict[str, Any], place: Path, time_limit_s: float) -> list[Task]:
    found: dict[str, Task] = {}
    for file, code in _listed(Path(source)):
        data = file.read_bytes()
        mark = hashlib.sha256(data).hexdigest()
        name = code or f"{tables['job']['code']}-{mark[:8]}"
        entry = Entry(code=name, digest=mark, bytes=len(data))
        plain = {
            "code": name,
            "job": tables,
            "file": str(file.resolve()),
            "folder": str((place / name).resolve()),
            "time_limit_s": time_limit_s,
        }
        if name in found and found[name].entry.digest != mark:
            raise InputFileError(f"Two scans have the code '{name}'.", remedy="Give each its own code.")
        found[name] = Task(entry=entry, plain=plain)
    if not found:
        raise InputFileError(f"'{source}' holds no scan.", remedy=f"Put {', '.join(SUFFIXES)} files there.")
    return [found[name] for name in sorted(found)]


def _listed(source: Path) -> Iterable[tuple[Path, str]]:
    if source.is_dir():
        return [(file, "") for file in sorted(source.iterdir()) if file.suffix.lower() in SUFFIXES]
    try:
        with open(source, newline="", encoding="utf-8-sig") as stream:
            rows = list(csv.DictReader(stream))
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise InputFileError(
            f"'{source}' cannot be read as a list of scans.", remedy="Name a folder or CSV file."
        ) from error
    if rows and "file" not in rows[0]:
        raise InputFileError(
            f"'{source}' has no column 'file'.", remedy="Add one with the paths of the scans."
        )
    listed = [(source.parent / row["file"], (row.get("code") or "").strip()) for row in rows]
    for file, _ in listed:
        if not file.is_file():
            raise InputFileError(f"'{file}' is no file.", remedy="Correct the list of scans.")
    return listed


class Reporter:
    """Progress with the time left, from the bytes done so far; safe to call from several threads."""

    def __init__(self, tasks: list[Task], progress: Progress) -> None:
        self._total = max(sum(task.entry.bytes for task in tasks), 1)
        self._count, self._done, self._bytes = len(tasks), 0, 0
        self._progress, self._lock, self._began = progress, threading.Lock(), time.monotonic()

    def finished(self, task: Task) -> None:
        """Count a scan that has ended."""
        with self._lock:
            self._done += 1
            self._bytes += task.entry.bytes
            left = (time.monotonic() - self._began) * (self._total - self._bytes) / max(self._bytes, 1)
            label = f"{self._done} of {self._count} scans, about {left:.0f} s left"
            self._progress.step(label, self._bytes / self._total)


class MemoryBudget:
    """Hands out memory to workers, so that large scans run beside fewer others; one always may run."""

    def __init__(self, total_mib: float) -> None:
        self._free, self._total = total_mib, total_mib
        self._change = threading.Condition()

    def take(self, mib: float) -> float:
        """Wait until there is room, and return what was taken."""
        wanted = min(mib, self._total)
        with self._change:
            self._change.wait_for(lambda: self._free >= wanted)
            self._free -= wanted
        return wanted

    def give_back(self, mib: float) -> None:
        """Return memory."""
        with self._change:
            self._free += mib
            self._change.notify_all()


def memory_needed_mib(file_bytes: int) -> float:
    """Return what a worker is expected to need for a scan of that file size."""
    return _BASE_MIB + _MIB_PER_FILE_MIB * file_bytes / 2**20


def memory_at_hand_mib() -> float:
    """Return the free memory of this machine, or 4 GiB where the system does not say."""
    try:
        with open("/proc/meminfo", encoding="ascii") as lines:
            table = dict(line.split(":") for line in lines)
        return float(table["MemAvailable"].split()[0]) / 1024.0
    except (OSError, KeyError, ValueError):
        return 4096.0


def _on_this_machine(tasks: list[Task], ledger: Ledger, report: Reporter, *, workers: int) -> None:
    """Give each worker its own process, so that one that dies takes no other scan with it."""
    line: queue.SimpleQueue[Task] = queue.SimpleQueue()
    for task in sorted(tasks, key=lambda t: (-t.entry.bytes, t.entry.code)):
        line.put(task)
    budget = MemoryBudget(_SPARE * memory_at_hand_mib())
    errors: list[BaseException] = []

    def work(core: int | None) -> None:
        try:
            _serve(line, ledger, report, budget, core=core)
        except BaseException as error:  # noqa: BLE001 - handed to the caller's thread
            errors.append(error)

    held = itertools.cycle(cores() or [None])
    count = max(1, min(workers, len(tasks)))
    threads = [threading.Thread(target=work, args=(core,)) for core in itertools.islice(held, count)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    if errors:
        raise errors[0]


def _serve(
    line: "queue.SimpleQueue[Task]",
    ledger: Ledger,
    report: Reporter,
    budget: MemoryBudget,
    *,
    core: int | None,
) -> None:
    pool = _new_pool(core)
    try:
        while True:
            try:
                task = line.get_nowait()
            except queue.Empty:
                return
            taken = budget.take(memory_needed_mib(task.entry.bytes))
            try:
                for attempt in range(1, _MOST_ATTEMPTS + 1):
                    ledger.start(task.entry.code)
                    outcome, alive = _attempt(pool, task, last=attempt == _MOST_ATTEMPTS)
                    if not alive:
                        pool.shutdown(wait=False)
                        pool = _new_pool(core)
                    if outcome is not None:
                        ledger.finish(task.entry.code, outcome)
                        break
            finally:
                budget.give_back(taken)
            report.finished(task)
    finally:
        pool.shutdown(wait=True)


def _new_pool(core: int | None) -> ProcessPoolExecutor:
    return ProcessPoolExecutor(
        max_workers=1, mp_context=get_context("spawn"), initializer=start_worker, initargs=(core,)
    )


def _attempt(pool: ProcessPoolExecutor, task: Task, *, last: bool) -> tuple[dict[str, Any] | None, bool]:
    """Return the outcome, None when it is worth another try, and whether the worker still lives."""
    began = time.monotonic()
    try:
        job: Future[dict[str, Any]] = pool.submit(run_task, task.plain)
        return job.result(), True
    except BrokenProcessPool:
        limit = float(task.plain["time_limit_s"])
        late = 0 < limit <= time.monotonic() - began
        if not (late or last):
            return None, False
        reason = (
            f"Took longer than {limit:g} s." if late else "Its worker process died twice (memory or crash)."
        )
        return {**_LOST, "message": reason, "seconds": time.monotonic() - began}, False


_LOST: Final = {
    "state": "failed",
    "exit_code": 1,
    "message": "",
    "seconds": None,
    "timings": {},
    "peak_mib": None,
    "result": {},
}


def _on_cluster(tasks: list[Task], ledger: Ledger, report: Reporter, *, cluster: Cluster) -> None:
    """Run on a dask.distributed cluster, which repeats what a lost worker was at."""
    try:
        from distributed import Client, as_completed
    except ImportError:
        raise MissingExtraError(
            "dask.distributed is not installed.", remedy="pip install 'mirrorprep[cluster]'"
        ) from None
    with Client(cluster.address) as client:
        under_way: dict[str, tuple[Task, int]] = {}

        def submit(task: Task, attempt: int) -> Any:  # noqa: ANN401 - the engine's future
            """Send the scan; a second attempt sends its content anew, should the holder be lost."""
            ledger.start(task.entry.code)
            content = None
            if not cluster.shared_files:
                content = client.scatter(Path(task.plain["file"]).read_bytes(), hash=attempt == 1)
            key = f"mirrorprep-{task.entry.code}-{task.entry.digest[:16]}-{attempt}"
            under_way[key] = task, attempt
            return client.submit(run_task, task.plain, content, key=key, retries=2, pure=False)

        ended = as_completed([submit(task, 1) for task in tasks])
        for future in ended:
            task, attempt = under_way.pop(future.key)
            if future.status != "finished" and attempt < _MOST_ATTEMPTS:
                ended.add(submit(task, attempt + 1))
                continue
            outcome: dict[str, Any] = future.result() if future.status == "finished" else dict(_LOST)
            _store(outcome.pop("files", {}), Path(task.plain["folder"]))
            ledger.finish(task.entry.code, outcome)
            report.finished(task)


def _store(files: dict[str, bytes], folder: Path) -> None:
    for name, data in files.items():
        write_bytes(output_folder(folder) / Path(name).name, data, overwrite=True)

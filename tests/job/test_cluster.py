"""The same batch on a cluster engine that is already there, on loopback, with one worker killed."""

import os
import signal
import subprocess
import sys
import threading
import time

import pytest

from mirrorprep.errors import MissingExtraError
from mirrorprep.job.batch import Cluster, run_batch

distributed = pytest.importorskip("distributed")


@pytest.fixture
def cluster():
    """A scheduler and two worker processes on loopback; yields its address and the workers."""
    address = "127.0.0.1"
    scheduler = subprocess.Popen(
        [
            sys.executable,
            "-m",
            "distributed.cli.dask_scheduler",
            "--host",
            address,
            "--port",
            "0",
            "--no-dashboard",
        ],
        stderr=subprocess.PIPE,
        stdout=subprocess.DEVNULL,
        text=True,
    )
    place = next(line.split()[-1] for line in scheduler.stderr if "tcp://" in line)
    words = ["-m", "distributed.cli.dask_worker", place, "--nthreads", "1", "--no-nanny", "--no-dashboard"]
    workers = [
        subprocess.Popen([sys.executable, *words], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        for _ in range(2)
    ]
    yield place, workers
    for process in (*workers, scheduler):
        process.kill()
        process.wait()
    scheduler.stderr.close()


@pytest.mark.parametrize("shared_files", [False, True], ids=["by content", "by path"])
def test_a_killed_worker_loses_nothing_and_changes_no_byte(cohort, cluster, tmp_path, shared_files):
    address, workers = cluster
    killer = threading.Thread(target=_kill_when_busy, args=(address, workers[0].pid))
    killer.start()
    run_batch(
        cohort.scans,
        cohort.template,
        tmp_path / "out",
        cluster=Cluster(address=address, shared_files=shared_files),
    )
    killer.join()
    assert workers[0].wait(timeout=10) != 0
    assert sorted(cohort.states(tmp_path / "out")) == ["done", "done", "failed"]
    assert cohort.results(tmp_path / "out") == cohort.results("calm")


def _kill_when_busy(address: str, pid: int) -> None:
    with distributed.Client(address, set_as_default=False) as client:
        for _ in range(600):
            if any(client.processing().values()):
                break
            time.sleep(0.05)
    time.sleep(0.5)
    os.kill(pid, signal.SIGKILL)


def test_a_missing_engine_is_named(cohort, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(MissingExtraError, match=r"mirrorprep\[cluster\]"):
        run_batch(
            cohort.scans, cohort.template, tmp_path / "out", cluster=Cluster(address="tcp://127.0.0.1:1")
        )

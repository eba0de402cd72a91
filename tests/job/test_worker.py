"""One scan of a cohort: whatever happens comes back as plain data."""

import json
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context

import numpy as np
import pytest

from mirrorprep.handover.files import write_stl
from mirrorprep.job import run
from mirrorprep.job.worker import FIGURES, cores, run_task, start_worker
from mirrorprep.solid.primitives import box, sphere

TABLES = {
    "job": {"code": "T", "purpose": "research", "human_data": False},
    "scan": {"units": "mm"},
    "plane": {"normal": [0, 1, 0]},
    "mould": {"build": False},
    "output": {"pictures": False},
}


@pytest.fixture
def task(tmp_path):
    file = write_stl(sphere(9, segments=24) + box([6, 6, 6], center_mm=[8, 0, 0]), tmp_path / "Jane Doe.stl")
    return {
        "code": "T-1",
        "job": TABLES,
        "file": str(file),
        "folder": str(tmp_path / "out"),
        "time_limit_s": 60.0,
    }


def test_a_good_scan_comes_back_with_its_figures(task, tmp_path):
    outcome = run_task(task)
    assert (outcome["state"], outcome["exit_code"], outcome["message"]) == ("done", 0, "")
    assert outcome["result"]["figures"].keys() == FIGURES.keys()
    assert outcome["result"]["figures"]["volume_mm3"] > 0
    assert outcome["seconds"] > 0
    assert list(outcome["timings"]) == ["intake", "condition", "symmetry", "measurement"]
    assert 0 < sum(outcome["timings"].values()) <= outcome["seconds"]
    assert set(outcome["result"]["outputs"]) == {path.name for path in (tmp_path / "out").iterdir()}
    json.dumps(outcome)


def test_content_instead_of_a_path_brings_the_same_files(task, tmp_path):
    here = run_task(task)
    data = (tmp_path / "Jane Doe.stl").read_bytes()
    there = run_task({**task, "file": "/nowhere/x.stl", "folder": "/nowhere/out"}, data)
    assert there["result"] == here["result"]
    assert there["files"] == {path.name: path.read_bytes() for path in (tmp_path / "out").iterdir()}


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (MemoryError(), "Out of memory"),
        (ValueError("Jane Doe.stl is odd"), "This is a bug (ValueError: T-1 is odd)"),
    ],
)
def test_no_error_leaves_the_worker_and_no_name_either(task, monkeypatch, error, words):
    def fail(*_: object, **__: object) -> None:
        raise error

    monkeypatch.setattr(run, "run_stages", fail)
    outcome = run_task(task)
    assert (outcome["state"], outcome["exit_code"]) == ("failed", 1)
    assert words in outcome["message"]


def test_a_stop_is_a_state_of_its_own(task):
    outcome = run_task({**task, "job": {**TABLES, "plane": {}}, "file": _ball(task)})
    assert outcome["state"] == "stopped"
    assert outcome["exit_code"] == 6
    assert outcome["message"]
    assert np.isfinite(outcome["seconds"])


def _ball(task) -> str:
    return str(write_stl(sphere(9, segments=24), task["file"].replace("Jane", "Ball")))


@pytest.mark.skipif(not cores(), reason="this system does not hold a process to a core")
def test_a_worker_keeps_to_its_core():
    with ProcessPoolExecutor(1, get_context("spawn"), start_worker, (cores()[-1],)) as pool:
        assert pool.submit(cores).result() == [cores()[-1]]

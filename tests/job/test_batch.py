"""Cohorts: the same bytes with any number of workers, and nothing lost when processes are killed."""

import os
import signal
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest

from mirrorprep.errors import InputFileError, JobFileError, MissingExtraError
from mirrorprep.job import batch
from mirrorprep.job.batch import MemoryBudget, memory_needed_mib, run_batch
from mirrorprep.job.cohort import parquet_library, write_parquet, write_summary
from mirrorprep.job.ledger import LEDGER_FILE, Ledger
from mirrorprep.job.worker import nameless


def command(cohort, out: str) -> list[str]:
    words = ["batch", str(cohort.scans), "--job", str(cohort.template), "-o", str(cohort.folder / out)]
    return [sys.executable, "-m", "mirrorprep", *words, "--workers", "2"]


def test_one_failure_loses_no_other_and_workers_do_not_matter(cohort):
    alone = run_batch(cohort.scans, cohort.template, cohort.folder / "one", workers=1)
    both = Ledger(cohort.folder / "calm" / LEDGER_FILE).entries()
    assert sorted(entry.state for entry in alone) == ["done", "done", "failed"]
    failed = next(entry for entry in alone if entry.state == "failed")
    assert failed.exit_code == 3
    assert [e.result for e in alone] == [e.result for e in both]
    assert cohort.results("one") == cohort.results("calm")
    assert len(cohort.results("one")) >= 4


def test_no_name_of_a_scan_reaches_ledger_or_results(cohort):
    for path in (cohort.folder / "calm").rglob("*"):
        assert "Jane" not in path.name
        assert not path.is_file() or b"Jane" not in path.read_bytes()


def _wait_for(condition, seconds: float = 60.0) -> None:
    limit = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < limit, "nothing happened"
        time.sleep(0.02)


@pytest.mark.skipif(sys.platform != "linux", reason="looks for worker processes in /proc")
@pytest.mark.parametrize("victim", ["worker", "parent"])
def test_killed_processes_lose_nothing(cohort, victim):
    running = subprocess.Popen(
        command(cohort, f"killed-{victim}"), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    folder = cohort.folder / f"killed-{victim}"
    _wait_for(lambda: (folder / LEDGER_FILE).exists() and _safe_states(cohort, folder).count("running") > 0)
    if victim == "parent":
        running.send_signal(signal.SIGKILL)
        running.wait()
        assert "waiting" in cohort.states(folder) or "running" in cohort.states(folder)
        subprocess.run(command(cohort, f"killed-{victim}"), check=True, capture_output=True, timeout=120)
    else:
        _wait_for(lambda: bool(_workers(running.pid)))
        os.kill(_workers(running.pid)[0], signal.SIGKILL)
        assert running.wait(timeout=120) == 0
    assert sorted(cohort.states(folder)) == ["done", "done", "failed"]
    assert cohort.results(folder) == cohort.results("calm")


def _safe_states(cohort, folder: Path) -> list[str]:
    try:
        return cohort.states(folder)
    except sqlite3.Error:
        return []


def _workers(parent: int) -> list[int]:
    found = []
    for place in Path("/proc").glob("[0-9]*"):
        try:
            words = (place / "cmdline").read_bytes()
            ancestor = int((place / "stat").read_text().rsplit(")", 1)[1].split()[1])
        except OSError:
            continue
        if ancestor == parent and b"spawn_main" in words:
            found.append(int(place.name))
    return found


def test_time_limit_fails_the_scan_and_not_the_cohort(cohort):
    entries = run_batch(
        cohort.scans, cohort.template, cohort.folder / "hurried", workers=1, time_limit_s=0.05
    )
    assert {entry.state for entry in entries} == {"failed"}
    assert any("Took longer than 0.05 s" in entry.message for entry in entries)


def test_another_template_is_refused_for_the_same_folder(cohort, tmp_path):
    other = tmp_path / "other.toml"
    other.write_text(cohort.template.read_text().replace('"T"', '"U"'))
    with pytest.raises(JobFileError, match="batch of another job file"):
        run_batch(cohort.scans, other, cohort.folder / "calm", workers=1)


def test_another_version_is_refused_for_the_same_folder(cohort, monkeypatch):
    monkeypatch.setattr(batch, "code_digest", lambda: "of another version")
    with pytest.raises(JobFileError, match="another version of mirrorprep"):
        run_batch(cohort.scans, cohort.template, cohort.folder / "calm", workers=1)


def test_the_table_as_parquet_reads_back_the_same(cohort, tmp_path):
    pandas, _ = pytest.importorskip("pandas"), pytest.importorskip("pyarrow")
    entries = Ledger(cohort.folder / "calm" / LEDGER_FILE).entries()
    write_summary(entries, tmp_path)
    table = pandas.read_parquet(write_parquet(entries, tmp_path))
    plain = pandas.read_csv(tmp_path / "cohort.csv")
    assert list(table.columns) == list(plain.columns)
    assert table["volume_mm3"].tolist()[:2] == plain["volume_mm3"].tolist()[:2]
    assert table["code"].tolist() == plain["code"].tolist()


def test_parquet_without_its_library_is_named(monkeypatch):
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(MissingExtraError, match=r"mirrorprep\[parquet\]"):
        parquet_library()


def test_lists_and_their_faults(cohort, tmp_path):
    listing = cohort.folder / "list.csv"
    listing.write_text("file,code\nscans/Jane Doe 0.stl,A-1\nscans/Jane Doe 1.stl,A-2\n")
    entries = run_batch(listing, cohort.template, cohort.folder / "listed", workers=1)
    assert [entry.code for entry in entries] == ["A-1", "A-2"]
    for text, words in [
        ("file,code\nabsent.stl,A\n", "is no file"),
        ("path\nx\n", "no column 'file'"),
        ("file,code\nscans/Jane Doe 0.stl,A\nscans/Jane Doe 1.stl,A\n", "Two scans have the code"),
        ("file\n", "holds no scan"),
    ]:
        listing.write_text(text)
        with pytest.raises(InputFileError, match=words):
            run_batch(listing, cohort.template, cohort.folder / "faulty", workers=1)
    with pytest.raises(InputFileError, match="cannot be read as a list"):
        run_batch(cohort.folder / "absent", cohort.template, cohort.folder / "faulty", workers=1)


def test_memory_is_handed_out_and_taken_back():
    budget = MemoryBudget(1000.0)
    assert budget.take(5000.0) == 1000.0
    budget.give_back(1000.0)
    assert budget.take(300.0) == 300.0
    assert memory_needed_mib(50_000_084) > memory_needed_mib(84) > 0


def test_messages_lose_the_names_of_scans():
    message = nameless(
        "'/a/Jane Doe.stl' holds nothing; Jane Doe.stl is empty.", Path("/a/Jane Doe.stl"), "P-1"
    )
    assert message == "'P-1' holds nothing; P-1 is empty."

"""Job files: every slip gets a hint, and nothing runs without purpose, code and consent."""

import tomllib

import pytest

from mirrorprep.errors import JobFileError
from mirrorprep.job.jobfile import check_job, job_from, read_job, template
from mirrorprep.job.tables import Job

GOOD = {
    "job": {"code": "P-01", "purpose": "teaching", "human_data": False},
    "scan": {"file": "head.ply", "units": "mm", "accuracy_mm": 0.1},
}


def with_entry(table: str, **entries: object) -> dict:
    return {**GOOD, table: {**GOOD.get(table, {}), **entries}}


def test_defaults_are_filled_in():
    job = check_job(job_from(GOOD))
    assert (job.scan.accuracy_mm, job.mould.wall_mm, job.plane.choose) == (0.1, 6.0, 1)


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"scann": {}}, "'scann' is no table. Did you mean 'scan'?"),
        (with_entry("mould", wall=3), "'wall' is no entry of .mould.. Did you mean 'wall_mm'?"),
        (with_entry("mould", wall_mm="thick"), "mould.wall_mm is 'thick', not a number"),
        (with_entry("mould", wall_mm=0.1), "mould.wall_mm is 0.1. Give a value from 0.5 to 100"),
        (with_entry("mould", wall_mm=True), "mould.wall_mm is True, not a number"),
        (with_entry("mould", body="shel"), "Did you mean 'shell'?"),
        (with_entry("mould", pull_direction=[0, 1]), "not a list of 3 numbers"),
        (with_entry("mould", pull_direction=[0, 1, "z"]), r"pull_direction\[2\] is 'z'"),
        (with_entry("waive", codes="all"), "not a list of texts"),
        (with_entry("plane", choose=1.5), "not a whole number"),
        (with_entry("plane", choose=0), "Give a value from 1"),
        ({**GOOD, "mould": 3}, "'mould' is not a table"),
        (with_entry("job", purpose="clinical"), "'clinical' is refused.*licensed practitioner"),
        (with_entry("job", purpose="Clinical "), "'clinical' is refused"),
        (with_entry("job", purpose=""), "State one of research, teaching, demonstration"),
        (with_entry("job", code="Ann Other"), "subject code"),
        (with_entry("job", code=""), "subject code"),
        (with_entry("job", human_data=True), "no consent is recorded"),
        ({**GOOD, "job": {"code": "A", "purpose": "research"}}, "human_data is not stated"),
        (with_entry("scan", file=""), "scan.file is not stated"),
    ],
)
def test_each_slip_gets_its_hint(values, words):
    with pytest.raises(JobFileError, match=words):
        check_job(job_from(values))


def test_recorded_consent_is_enough_for_human_data():
    job = job_from(with_entry("job", human_data=True, consent="recorded"))
    assert check_job(job).job.consent == "recorded"


def test_template_reads_back_as_the_same_job():
    job = job_from(with_entry("mould", pull_direction=[0, 0.5, 1], body="block"))
    assert job_from(tomllib.loads(template(job))) == job
    assert job_from(tomllib.loads(template())) == Job()


@pytest.mark.parametrize(
    ("content", "words"),
    [(b"[job", "is not TOML"), (b"\xff\xfe", "is not TOML"), (b"#" * (1 << 21), "too large")],
)
def test_files_that_are_no_job(tmp_path, content, words):
    file = tmp_path / "job.toml"
    file.write_bytes(content)
    with pytest.raises(JobFileError, match=words):
        read_job(file)


def test_missing_file_and_folder(tmp_path):
    with pytest.raises(JobFileError, match="cannot be read: no such file"):
        read_job(tmp_path / "absent.toml")
    with pytest.raises(JobFileError, match="cannot be read"):
        read_job(tmp_path)

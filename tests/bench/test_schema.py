"""The page is told of every entry that the job file has, with the limits that reading it holds."""

from dataclasses import fields
from typing import get_type_hints

import pytest

from mirrorprep.bench.schema import bench_schema
from mirrorprep.errors import JobFileError
from mirrorprep.job.jobfile import job_from
from mirrorprep.job.tables import Job

SCHEMA = bench_schema()
GOOD = {"text": "x", "flag": True, "texts": ["x"], "triple": [1, 2, 3]}


def test_every_entry_is_there():
    for name, kind in get_type_hints(Job).items():
        assert list(SCHEMA["tables"][name]["entries"]) == [item.name for item in fields(kind)]
        assert SCHEMA["tables"][name]["text"]


@pytest.mark.parametrize("table", list(SCHEMA["tables"]))
def test_what_the_schema_allows_is_read_and_what_it_forbids_is_not(table):
    for name, entry in SCHEMA["tables"][table]["entries"].items():
        least = 1 if entry["low"] is None else entry["low"]
        values = [*entry["choices"]] or [GOOD.get(entry["kind"], least)]
        for value in values:
            assert job_from({table: {name: value}})
        if entry["high"] is not None:
            with pytest.raises(JobFileError):
                job_from({table: {name: entry["high"] * 2 + 1}})
        with pytest.raises(JobFileError):
            job_from({table: {name: {"no": "value"}}})


def test_fixed_lists():
    assert "addition-cure silicone" in SCHEMA["materials"]
    assert {"mm", "cm", "in"} <= set(SCHEMA["units"])
    assert {".stl", ".ply", ".3mf"} <= set(SCHEMA["suffixes"])
    assert SCHEMA["caution"].startswith("For research")
    assert SCHEMA["tables"]["scan"]["entries"]["file"]["file"]
    assert SCHEMA["tables"]["plane"]["entries"]["normal"]["optional"]

"""Entries change in the text of a job file; everything else in it stays."""

import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mirrorprep.bench.jobtext import changed, edited, tables_of
from mirrorprep.errors import JobFileError
from mirrorprep.job.jobfile import job_from, template

HAND = """# my own words
[job]
code = 'A#1'   # the code
features = [
  "rim",   # over several lines
  "tip",
]

[mould]
wall_mm = 7.5 # thick
"""


def test_own_line_is_rewritten_and_all_else_stays():
    text = edited(HAND, {"mould.wall_mm": 8.0, "mould.key_count": 2, "scan.file": "a.stl"})
    assert "# my own words" in text
    assert "wall_mm = 8.0                      # thick" in text
    assert tomllib.loads(text)["job"] == tomllib.loads(HAND)["job"]
    assert tomllib.loads(text)["mould"] == {"wall_mm": 8.0, "key_count": 2}
    assert tomllib.loads(text)["scan"] == {"file": "a.stl"}


def test_an_entry_is_taken_out_and_put_back_on_its_line():
    start = template()
    with_plane = edited(start, {"plane.normal": [1.0, 0, 0]})
    assert with_plane.splitlines() != start.splitlines()
    without = edited(with_plane, {"plane.normal": None})
    assert tomllib.loads(without) == tomllib.loads(start)
    assert len(without.splitlines()) == len(start.splitlines())


def test_what_no_line_can_take_is_written_anew_from_the_template():
    text = edited(HAND, {"job.features": ["helix"]})
    assert job_from(tomllib.loads(text)).job.features == ("helix",)
    assert job_from(tomllib.loads(text)).mould.wall_mm == 7.5
    dotted = edited("mould.wall_mm = 3\n", {"mould.wall_mm": 4})
    assert job_from(tomllib.loads(dotted)).mould.wall_mm == 4.0


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"mould": 3}, "names no entry"),
        ({"mould.": 3}, "names no entry"),
        ({"mold.wall_mm": 3}, "no table"),
        ({"mould.wal_mm": 3}, "wall_mm"),
        ({"mould.wall_mm": "thick"}, "not a number"),
        ({"mould.wall_mm": 1e9}, "0.5 to 100"),
        ({"mould.body": "ball"}, "shell"),
        ({"plane.normal": [1, 2]}, "3 numbers"),
        ({"job.code": {"a": 1}}, "not a text"),
    ],
)
def test_wrong_changes_are_refused_with_the_usual_sentence(changes, words):
    with pytest.raises(JobFileError, match=words):
        edited(HAND, changes)


def test_text_that_is_no_toml_is_refused():
    with pytest.raises(JobFileError, match="not TOML"):
        tables_of("[job\n")


VALUES = {
    "job.code": st.text(max_size=12),
    "job.use": st.text(max_size=40),
    "job.features": st.lists(st.text(max_size=8), max_size=3),
    "job.human_data": st.booleans(),
    "mould.wall_mm": st.floats(0.5, 100.0),
    "mould.key_count": st.integers(0, 24),
    "plane.normal": st.lists(st.floats(-1e3, 1e3), min_size=3, max_size=3),
    "plane.offset_mm": st.floats(allow_nan=False, allow_infinity=False),
}
CHANGES = st.lists(
    st.sampled_from(sorted(VALUES)).flatmap(
        lambda name: st.tuples(st.just(name), st.one_of(st.none(), VALUES[name]))
    ),
    max_size=6,
)


@settings(deadline=None, max_examples=60, derandomize=True)
@given(CHANGES, st.sampled_from(["", HAND, template()]))
def test_the_text_always_states_what_was_asked_for(changes, text):
    """Whatever the values (quotes, control characters, any script), the file reads back as the same job."""
    tables = tables_of(text)
    for name, value in changes:
        text, tables = edited(text, {name: value}), changed(tables, {name: value})
    assert job_from(tables_of(text)) == job_from(tables)

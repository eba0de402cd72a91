"""The traveller of a whole small job with its pictures, and the plan of its pour alone."""

import json

import numpy as np
import pytest

from mirrorprep.errors import JobFileError
from mirrorprep.handover.display import working_window
from mirrorprep.handover.files import write_stl
from mirrorprep.job.plan import plan_of_job
from mirrorprep.job.run import run_job
from mirrorprep.solid.primitives import sphere

JOB = """
[job]
code = "S-1"
purpose = "teaching"
human_data = false
use = "a lesson"
tolerance_mm = 0.5
[scan]
file = "specimen.stl"
units = "mm"
accuracy_mm = 0.1
[mould]
body = "block"
[output]
lesson = true
page = "letter"
"""


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    folder = tmp_path_factory.mktemp("sheet")
    body = sphere(15.0, segments=40).transformed(np.diag([1.0, 0.8, 0.7, 1.0]))
    write_stl(body + sphere(8.0, center_mm=[13, 0, 5], segments=40), folder / "specimen.stl")
    (folder / "job.toml").write_text(JOB, encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def record(place):
    run_job(place / "job.toml")
    return json.loads((place / "handover" / "traveller.json").read_text(encoding="utf-8"))


@pytest.mark.skipif(working_window() is None, reason="this machine cannot draw off-screen")
def test_every_picture_is_on_the_sheet(record, place):
    names = {picture["name"] for picture in record["pictures"]}
    of_mould = {"landscape", "parting", "undercut", "draft", "exploded", "backs", "cutaway", "filling"}
    assert names == {"scan", "plane", "mirrored", "walls"} | of_mould
    shown = {name for section in record["sections"] for name in section["pictures"]}
    assert shown == names
    assert (place / "handover" / "thumbnail.png").stat().st_size > 500


def test_what_a_technician_needs_of_the_mould_is_on_the_sheet(record):
    (section,) = (section for section in record["sections"] if section["title"] == "Mould")
    figures = {figure["label"]: figure for figure in section["figures"]}
    assert figures["A rigid casting"]["value"] in {"comes out", "is locked"}
    assert figures["A flexible casting"]["value"] == "comes out"
    assert figures["Register keys"]["value"] == 4
    assert figures["Clamp bolts"]["value"].startswith("4 × M4, ")
    assert figures["Slots for a lever"]["value"] == 2
    assert figures["Thinnest wall of the mould"]["value"] >= 1.0
    assert figures["Tilt at which it falls"]["value"] >= 10
    assert {"Overhang of half_a", "Overhang of half_b", "Strain of a flexible casting"} <= figures.keys()


def test_figures_carry_their_units_and_uncertainty(record):
    figures = {f["label"]: f for section in record["sections"] for f in section["figures"]}
    assert figures["Volume"]["unit"] == "mm³"
    assert figures["Volume"]["uncertainty"] > 0
    assert figures["Fill time"]["unit"] == "s"
    assert figures["Stated accuracy"]["value"] == 0.1
    assert figures["Air pockets without a vent"]["value"] == 0


def test_settings_hold_what_was_stated_and_no_file_name(record):
    assert record["settings"]["job.tolerance_mm"] == 0.5
    assert "specimen.stl" not in json.dumps(record)
    assert len(record["settings"]["found.pull_direction"]) == 3


def test_lesson_and_letter_page_are_written(place, record):
    assert record["verdict"]["state"] != "stopped"
    assert "formula" in (place / "handover" / "lesson.html").read_text(encoding="utf-8").lower()
    assert (place / "handover" / "traveller.pdf").read_bytes().startswith(b"%PDF")


def test_a_plan_alone_writes_nothing(place):
    before = sorted(place.rglob("*"))
    plan = plan_of_job(place / "job.toml")
    assert plan.mass_g > 0
    assert sorted(place.rglob("*")) == before


def test_a_job_without_a_mould_has_no_pour(place):
    (place / "bare.toml").write_text(JOB.replace("[mould]", "[mould]\nbuild = false"), encoding="utf-8")
    with pytest.raises(JobFileError, match="builds no mould"):
        plan_of_job(place / "bare.toml")

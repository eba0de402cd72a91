"""Checking and mending from the command line: every option, what is refused, and the pictures."""

import re

import numpy as np
import pytest

from mirrorprep.cli.mend import StepName, mend
from mirrorprep.condition.settings import MendSettings
from mirrorprep.handover.files import write_ply, write_stl
from mirrorprep.intake.read import read_scan
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.primitives import sphere

PNG = b"\x89PNG"


@pytest.fixture(scope="module")
def ball():
    return sphere(30.0, segments=96).mesh


@pytest.fixture
def holed(ball, tmp_path):
    """A ball with a hole, as a PLY file in millimetres."""
    far = np.linalg.norm(ball.triangles.mean(axis=1) - [0.0, 0.0, 30.0], axis=1) > 8.0
    return write_ply(ball.with_geometry(ball.vertices, ball.faces[far]), tmp_path / "holed.ply")


def test_check_tells_every_measure_with_its_unit(mirrorprep, holed):
    said = mirrorprep("check", holed, "--units", "mm", "--feature-mm", 2, "--accuracy-mm", 1e-9).out
    for words in (
        "solid                   no", "flipped triangles       0", "needles                 0",
        "small-part scanners", "point spacing", "point noise", "CAUTION  open-edges",
        "in 1 border:", "CAUTION  spacing-above-feature", "CAUTION  noise-above-accuracy",
    ):  # fmt: skip
        assert words in said


def test_check_draws_where_the_findings_are(mirrorprep, holed, tmp_path):
    picture = tmp_path / "where.png"
    answer = mirrorprep("check", holed, "--units", "mm", "--picture", picture, "--json")
    assert answer.json["picture"] == str(picture)
    assert picture.read_bytes().startswith(PNG)
    assert mirrorprep("check", holed, "--units", "mm", "--picture", picture).code == 7
    assert mirrorprep("check", holed, "--units", "mm", "--picture", picture, "--overwrite").code == 0
    refused = mirrorprep("check", holed, "--units", "mm", "--picture", tmp_path / "where.jpg")
    assert (refused.code, "where.jpg" in refused.err) == (2, True)


def test_check_welds_when_reading_as_the_reader_advises(mirrorprep, ball, tmp_path):
    soup = ScanMesh(
        vertices=ball.triangles.reshape(-1, 3), faces=np.arange(3 * len(ball.faces)).reshape(-1, 3)
    )
    path = write_ply(soup, tmp_path / "soup.ply")
    apart = mirrorprep("check", path, "--units", "mm")
    assert "--weld-mm 0" in apart.out
    assert mirrorprep("check", path, "--units", "mm", "--weld-mm", 0, "--json").json["solid"]


def test_the_help_lists_the_steps_in_their_order(mirrorprep):
    listed = re.findall(r"- ([a-z-]+):", mirrorprep("mend", "--help").out)
    assert listed == [*StepName, "remake"]
    assert re.findall(r"- ([a-z-]+):", mend.__doc__) == listed


@pytest.mark.parametrize("step", StepName)
def test_each_step_can_be_skipped(mirrorprep, ball, tmp_path, step):
    path = write_stl(ball, tmp_path / "ball.stl")
    out = tmp_path / "out.stl"
    answer = mirrorprep("mend", path, "--units", "mm", "--skip", step, "-o", out, "--json")
    assert [entry["name"] for entry in answer.json["steps"]] == [name for name in StepName if name != step]


def test_every_setting_of_mending_has_its_option(mirrorprep):
    said = mirrorprep("mend", "--help").out
    for name in MendSettings.__slots__:
        if name.replace("_", "-") not in list(StepName):
            assert f"--{name.replace('_', '-')}" in said


def test_mending_says_what_each_step_did_and_draws_it(mirrorprep, holed, tmp_path):
    out, picture = tmp_path / "whole.3mf", tmp_path / "mended.png"
    answer = mirrorprep("mend", holed, "--units", "mm", "-o", out, "--picture", picture)
    assert answer.code == 0
    assert re.search(r"fill-holes +1 hole filled", answer.out)
    assert re.search(r"moved +0.00% of the vertices", answer.out)
    assert re.search(r"volume change +unknown, the scan was open", answer.out)
    assert picture.read_bytes().startswith(PNG)
    assert read_scan(out).origin.units == "mm"


def test_a_scan_that_stays_open_is_refused_and_nothing_is_written(mirrorprep, holed, tmp_path):
    out = tmp_path / "out.stl"
    words = ("mend", holed, "--units", "mm", "--skip", "fill-holes", "-o", out)
    refused = mirrorprep(*words)
    assert refused.code == 6
    assert "STOP  not-mended" in refused.out
    assert re.search(r"written +nothing", refused.out)
    assert "--allow-open" in refused.err
    assert not out.exists()
    assert mirrorprep(*words, "--json").json["output"] is None
    assert mirrorprep(*words, "--allow-open").code == 0
    assert len(read_scan(out, units="mm").faces) == len(read_scan(holed, units="mm").faces)


def test_limits_of_change_are_reachable(mirrorprep, holed, ball, tmp_path):
    out = tmp_path / "out.stl"
    answer = mirrorprep("mend", holed, "--units", "mm", "--most-added-share", 0.001, "-o", out)
    assert (answer.code, "mend-adds-too-much" in answer.out) == (6, True)
    points = np.array(ball.vertices)
    points[99] *= 1.2
    spiky = write_stl(ball.with_geometry(points), tmp_path / "spiky.stl")
    answer = mirrorprep("mend", spiky, "--units", "mm", "--most-moved-mm", 1, "-o", out)
    assert (answer.code, "mend-moves-too-far" in answer.out) == (6, True)
    answer = mirrorprep("mend", spiky, "--units", "mm", "--smooth-angle-deg", 200, "-o", out)
    assert (answer.code, "smooth_angle_deg" in answer.err) == (2, True)
    assert not out.exists()


def test_smoothing_and_decimation_report_their_deviation(mirrorprep, ball, tmp_path):
    rng = np.random.default_rng(0)
    noisy = ball.with_geometry(ball.vertices * (1.0 + rng.normal(0.0, 0.001, (len(ball.vertices), 1))))
    path, out = write_stl(noisy, tmp_path / "noisy.stl"), tmp_path / "out.stl"
    words = ("mend", path, "--units", "mm", "-o", out, "--smooth-mm", 0.1, "--decimate-mm", 0.5)
    told = mirrorprep(*words, "--json").json
    assert told["smooth"]["noise_after_mm"] < told["smooth"]["noise_before_mm"]
    assert 0 < told["smooth"]["max_displacement_mm"] <= 0.1
    assert told["decimate"]["triangles_after"] < told["decimate"]["triangles_before"]
    assert 0 < told["decimate"]["rms_deviation_mm"] < told["decimate"]["max_deviation_mm"]
    assert len(read_scan(out, units="mm").faces) == told["decimate"]["triangles_after"]
    said = mirrorprep(*words, "--overwrite").out
    assert re.search(r"smoothed +moved by .* mm RMS; noise .* before", said)
    assert re.search(r"decimated +.* triangles; off by .* mm RMS", said)
    both = mirrorprep(
        "mend", path, "--units", "mm", "-o", tmp_path / "b.stl", "--decimate-mm", 1, "--triangles", 9
    )
    assert both.code == 2

"""The command ``plane`` and its picture."""

import numpy as np

from mirrorprep.handover.files import write_stl
from mirrorprep.solid.primitives import box


def test_other_planes_are_listed_drawn_and_taken(mirrorprep, tmp_path):
    scan, picture = tmp_path / "box.stl", tmp_path / "plane.png"
    write_stl(box([20, 30, 50]), scan)
    words = ("plane", scan, "--units", "mm", "--choose", "2", "--picture", picture)
    result = mirrorprep(*words, "--json").json
    assert result["choice"] == 2
    assert result["picture"] == str(picture)
    np.testing.assert_array_equal(result["normal"], result["alternatives"][1]["normal"])
    before = picture.read_bytes()
    assert before.startswith(b"\x89PNG")
    assert mirrorprep(*words).code == 7
    assert picture.read_bytes() == before


def test_a_picture_that_is_no_png_is_refused_before_any_work(mirrorprep, tmp_path):
    answer = mirrorprep("plane", tmp_path / "absent.stl", "--picture", tmp_path / "plane.jpg")
    assert answer.code == 2
    assert "plane.jpg" in answer.err

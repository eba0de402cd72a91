"""The traveller as data and as three files."""

import json

import numpy as np
import pytest
from handover_sheets import DIGEST, NASTY, small_data, small_png, small_scene

from mirrorprep import cautions
from mirrorprep.errors import OutputError, UsageError
from mirrorprep.handover.traveller import Figure, FileEntry, Picture, Section, write_traveller
from mirrorprep.handover.traveller_json import traveller_json


def test_three_files_and_the_same_bytes_twice(tmp_path):
    data = small_data(scene=small_scene())
    first = write_traveller(data, tmp_path / "one")
    second = write_traveller(data, tmp_path / "two", page="a4")
    for kind in ("html", "pdf", "json"):
        content = getattr(first, kind).read_bytes()
        assert content == getattr(second, kind).read_bytes()
        assert getattr(first, kind).name == f"traveller.{kind}"
    assert sorted(path.name for path in (tmp_path / "one").iterdir()) == [
        "traveller.html",
        "traveller.json",
        "traveller.pdf",
    ]
    assert set(first.as_dict()) == {"html", "pdf", "json"}


def test_nothing_is_written_when_one_of_the_three_exists(tmp_path):
    (tmp_path / "traveller.json").write_text("kept")
    with pytest.raises(OutputError, match=r"traveller\.json' exists already"):
        write_traveller(small_data(), tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["traveller.json"]
    write_traveller(small_data(), tmp_path, overwrite=True)
    assert json.loads((tmp_path / "traveller.json").read_text(encoding="utf-8"))["job_code"] == "TP-014"


def test_json_holds_everything_and_only_json():
    record = json.loads(traveller_json(small_data(scene=small_scene())), parse_constant=pytest.fail)
    assert record["format"] == "mirrorprep traveller"
    assert record["verdict"]["state"] == "ready with cautions"
    assert record["cautions"] == list(cautions.ALL)
    volume = record["sections"][0]["figures"][0]
    assert volume["value"] == 36303.4
    assert volume["shown"] == "36\u202f300 mm³"
    assert record["findings"][1]["measured"] is None  # not a number becomes null
    assert record["findings"][1]["message"] == f"Interference {NASTY}"
    assert record["checks"][2]["holds"] is None
    assert record["files"][1]["sha256"] == DIGEST
    assert record["view"]["pull_direction"] == [0, 0, 1]
    assert [body["name"] for body in record["view"]["bodies"]] == ["part", "half_a", "half_b"]
    assert len(record["pictures"][0]["sha256"]) == 64


def test_json_takes_arrays_and_numpy_numbers():
    data = small_data(settings={"direction": np.array([0.0, 0.0, 1.0]), "count": np.int64(3), "path": object})
    settings = json.loads(traveller_json(data))["settings"]
    assert settings["direction"] == [0.0, 0.0, 1.0]
    assert settings["count"] == 3
    assert isinstance(settings["path"], str)


@pytest.mark.parametrize("code", ["", "Jane Doe", "a/b", "x" * 65, "../up"])
def test_a_job_code_is_no_name_and_no_path(code):
    with pytest.raises(UsageError, match="not a job code"):
        small_data(job_code=code)


def test_the_caution_cannot_be_left_out():
    with pytest.raises(UsageError, match="research-only"):
        small_data(cautions=(cautions.BIOCOMPATIBILITY,))


def test_pictures_are_named_once_and_exist():
    picture = Picture(name="part", png=small_png(), caption="x")
    with pytest.raises(UsageError, match="cannot name a picture"):
        small_data(pictures=(picture, picture))
    with pytest.raises(UsageError, match="no picture 'absent'"):
        small_data(sections=(Section(title="s", pictures=("absent",)),))


def test_a_digest_is_a_digest():
    with pytest.raises(UsageError, match="not the SHA-256"):
        small_data(files=(FileEntry(name="f", what="w", size_bytes=1, sha256="abc"),))


def test_uncertainty_words():
    assert Figure(label="v", value=2.0, unit="mm", uncertainty=0.14).uncertainty_words == "± 0.2 mm (1 s.d.)"
    assert Figure(label="v", value=2.0).uncertainty_words == "unknown"
    assert Figure(label="v", value=None).uncertainty_words == "unknown"
    assert Figure(label="v", value=3).uncertainty_words == "exact"
    assert Figure(label="v", value="A 8 g, B 8 g").uncertainty_words == ""
    assert Figure(label="v", value=True).uncertainty_words == ""
    wide = Figure(label="t", value=38.3, unit="s", interval=(8.85, 134.7))
    assert (wide.words, wide.uncertainty_words) == ("40 s", "8.8 to 130 s")


def test_gravest_finding_first_and_loose_pictures():
    data = small_data()
    assert [finding.code for finding in data.graver_findings] == ["release", "unit-stated"]
    assert [picture.name for picture in data.loose_pictures] == ["loose"]
    assert [figure.label for figure in data.main_figures] == ["volume", "triangles"]

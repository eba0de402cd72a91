"""Verification of a handed-over folder, fed a fault of each kind."""

import json
import shutil

import numpy as np
import pytest

from mirrorprep.errors import InputFileError
from mirrorprep.handover.files import write_stl
from mirrorprep.handover.provenance import write_digests
from mirrorprep.intake.read import read_scan
from mirrorprep.job.run import run_job
from mirrorprep.job.verify import verify_handover
from mirrorprep.solid.primitives import sphere

JOB = """
[job]
code = "V-1"
purpose = "research"
human_data = false
[scan]
file = "part.stl"
units = "mm"
[mould]
body = "block"
[output]
pictures = false
"""


@pytest.fixture(scope="module")
def handover(tmp_path_factory):
    place = tmp_path_factory.mktemp("verify")
    body = sphere(15.0, segments=32).transformed(np.diag([1.0, 0.8, 0.7, 1.0]))
    write_stl(body + sphere(8.0, center_mm=[13, 0, 5], segments=32), place / "part.stl")
    (place / "job.toml").write_text(JOB)
    assert run_job(place / "job.toml").status == "done"
    return place / "handover"


@pytest.fixture
def copy(handover, tmp_path):
    shutil.copytree(handover, tmp_path / "copy")
    return tmp_path / "copy"


def relisted(folder) -> None:
    """Make the digests fit again, as someone who wants to hide a change would."""
    names = [path.name for path in folder.iterdir() if path.name != "SHA256SUMS"]
    record = json.loads((folder / "traveller.json").read_text(encoding="utf-8"))
    write_digests(folder, names, overwrite=True)
    digests = dict(reversed(line.split("  ")) for line in (folder / "SHA256SUMS").read_text().splitlines())
    for entry in record["files"]:
        entry["sha256"] = digests.get(entry["name"], entry["sha256"])
    (folder / "traveller.json").write_text(json.dumps(record), encoding="utf-8")
    write_digests(folder, names, overwrite=True)


def failed(folder) -> str:
    return " | ".join(check.claim for check in verify_handover(folder).checks if check.holds is False)


def test_an_untouched_handover_holds(handover):
    result = verify_handover(handover)
    assert result.holds
    assert len(result.checks) > 15
    assert result.as_dict()["holds"] is True


def test_one_flipped_bit_is_found(copy):
    data = bytearray((copy / "half_a.stl").read_bytes())
    data[5000] ^= 1
    (copy / "half_a.stl").write_bytes(bytes(data))
    assert "half_a.stl is unchanged" in failed(copy)


def test_a_missing_file_is_found(copy):
    (copy / "mould.3mf").unlink()
    assert "mould.3mf is unchanged" in failed(copy)


def test_a_scaled_half_is_found_even_with_new_digests(copy):
    mesh = read_scan(copy / "half_b.stl", units="mm")
    write_stl(mesh.with_geometry(mesh.vertices * 1.001), copy / "half_b.stl", overwrite=True)
    relisted(copy)
    claims = failed(copy)
    assert "unchanged" not in claims
    assert "half_b.stl is a solid of the stated volume" in claims
    assert "make up the outer body" in claims


def test_a_moved_half_no_longer_closes(copy):
    mesh = read_scan(copy / "half_b.stl", units="mm")
    shift = 0.5 * np.array(
        json.loads((copy / "traveller.json").read_text(encoding="utf-8"))["settings"]["found.pull_direction"]
    )
    write_stl(mesh.with_geometry(mesh.vertices + shift), copy / "half_b.stl", overwrite=True)
    relisted(copy)
    assert "The mould closes and opens" in failed(copy)


CLAIMS = {
    ("Part", "Volume"): "mirrored_part.stl is a solid of the stated volume",
    ("Part", "Area"): "Part: area as stated",
    ("Part", "Mass when cast"): "Part: mass when cast as stated",
    ("Part", "Thinnest wall"): "Part: thinnest wall as stated",
    ("Part", "Size along y"): "Part: size along y as stated",
    ("Mould", "Material of half_a"): "half_a.stl is a solid of the stated volume",
    ("Mould", "Material of half_b"): "half_b.stl is a solid of the stated volume",
}


@pytest.mark.parametrize("change", [lambda value: 1.05 * value, lambda _: None], ids=["larger", "none"])
def test_altered_figures_are_found_even_with_new_digests(copy, change):
    record = json.loads((copy / "traveller.json").read_text(encoding="utf-8"))
    for section in record["sections"]:
        for figure in section["figures"]:
            if (section["title"], figure["label"]) in CLAIMS:
                figure["value"] = change(figure["value"])
    (copy / "traveller.json").write_text(json.dumps(record), encoding="utf-8")
    relisted(copy)
    # the casting's volume is held to what the halves leave of the outer body
    casting = {"casting.stl is a solid of the stated volume"}
    assert set(failed(copy).split(" | ")) == {*CLAIMS.values()} | casting


def test_a_page_that_shows_another_figure_is_found(copy):
    page = copy / "traveller.html"
    record = json.loads((copy / "traveller.json").read_text(encoding="utf-8"))
    shown = next(f for s in record["sections"] for f in s["figures"] if f["label"] == "Volume")["shown"]
    text = page.read_text(encoding="utf-8")
    assert shown in text
    page.write_text(text.replace(shown, shown.replace("mm³", "cm³")), encoding="utf-8")
    relisted(copy)
    assert failed(copy) == "traveller.html says what traveller.json says"


def test_an_altered_overlap_is_found(copy):
    record = json.loads((copy / "traveller.json").read_text(encoding="utf-8"))
    record["settings"]["found.release_interference_mm3"] = 7.5
    (copy / "traveller.json").write_text(json.dumps(record), encoding="utf-8")
    relisted(copy)
    assert failed(copy) == "The casting is in the way by the stated volume"


def test_exchanged_halves_are_found_even_with_new_digests(copy):
    (copy / "half_a.stl").rename(copy / "kept")
    (copy / "half_b.stl").rename(copy / "half_a.stl")
    (copy / "kept").rename(copy / "half_b.stl")
    relisted(copy)
    claims = failed(copy)
    assert "half_a.stl is a solid of the stated volume" in claims
    assert "unchanged" not in claims


def test_an_extra_file_is_found_by_its_name(copy):
    (copy / "face.jpg").write_bytes(b"a photograph")
    result = verify_handover(copy)
    assert [check.measured for check in result.checks if check.holds is False] == ["face.jpg"]
    assert "face.jpg" in result.findings[0].message


def test_an_opened_part_is_found(copy):
    mesh = read_scan(copy / "mirrored_part.stl", units="mm")
    write_stl(mesh.with_geometry(mesh.vertices, mesh.faces[1:]), copy / "mirrored_part.stl", overwrite=True)
    relisted(copy)
    assert "mirrored_part.stl is a solid" in failed(copy)


def test_a_folder_without_a_traveller_is_refused(tmp_path):
    with pytest.raises(InputFileError, match="cannot be read"):
        verify_handover(tmp_path)

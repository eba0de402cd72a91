"""A whole job whose bed is too small for the halves: the pieces are written, proved, stated and verified."""

import json

import numpy as np
import pytest

from mirrorprep.handover.files import write_stl
from mirrorprep.intake.read import read_scan
from mirrorprep.job.run import run_job
from mirrorprep.job.verify import verify_handover
from mirrorprep.solid.certify import certify
from mirrorprep.solid.primitives import sphere

JOB = """
[job]
code = "V-2"
purpose = "research"
human_data = false
[scan]
file = "part.stl"
units = "mm"
[print]
bed_mm = [40.0, 45.0, 60.0]
[mould]
body = "block"
bolts = "none"
pull_direction = [0.1, -0.2, 1.0]
[output]
pictures = false
"""


@pytest.fixture(scope="module")
def handover(tmp_path_factory):
    place = tmp_path_factory.mktemp("pieces")
    body = sphere(15.0, segments=32).transformed(np.diag([1.0, 0.8, 0.7, 1.0]))
    write_stl(body + sphere(8.0, center_mm=[13, 0, 5], segments=32), place / "part.stl")
    (place / "job.toml").write_text(JOB)
    assert run_job(place / "job.toml").status == "done"
    return place / "handover"


@pytest.fixture(scope="module")
def record(handover):
    return json.loads((handover / "traveller.json").read_text(encoding="utf-8"))


def test_every_piece_is_a_file_of_the_traveller(handover, record):
    pieces = sorted(path.name for path in handover.glob("half_?_*.stl"))
    assert len(pieces) >= 4
    listed = {entry["name"]: entry["what"] for entry in record["files"]}
    assert all("too large for the bed" in listed[name] for name in pieces)


def test_the_stated_pull_overrules_the_search(record):
    stated = np.array([0.1, -0.2, 1.0])
    taken = [float(x) for x in record["settings"]["found.pull_direction"]]
    assert taken == pytest.approx(stated / np.linalg.norm(stated), abs=1e-6)
    (mould,) = (section for section in record["sections"] if section["title"] == "Mould")
    figures = {figure["label"]: figure["value"] for figure in mould["figures"]}
    assert figures["Pull direction"] == "0.098, -0.195, 0.976"
    assert any(label.startswith("Overhang of half_a_") for label in figures)


def test_checks_and_steps_speak_of_the_pieces(record):
    claims = {check["claim"]: check["holds"] for check in record["checks"]}
    assert sum("pieces of half_" in claim for claim in claims) == 6
    assert all(claims.values())
    assert any("Join the pieces" in step["text"] for step in record["steps"])


def test_pieces_are_verified_and_a_spoilt_one_is_found(handover):
    checks = {check.claim: check for check in verify_handover(handover).checks}
    made_up = [check for claim, check in checks.items() if "make it up but for" in claim]
    assert len(made_up) == 2
    assert all(check.holds for check in made_up)
    path = handover / "half_a_1.stl"
    piece = certify(read_scan(path, units="mm"))
    grown = piece.transformed(np.diag([1.3, 1.3, 1.3, 1.0]))
    write_stl(grown, path, overwrite=True)
    spoilt = [check.claim for check in verify_handover(handover).checks if not check.holds]
    assert any("pieces of half_a" in claim for claim in spoilt)
    assert any("mould.3mf" in claim for claim in spoilt)

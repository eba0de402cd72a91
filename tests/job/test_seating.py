"""Seating in a job: from a head scan, and from two scans with landmarks, to a verified mould; wrong input."""

import json

import numpy as np
import pytest

import demo_shapes
from demo_shapes.head import face, lone_ear_field, to_ear_frame
from mirrorprep.errors import GeometryError, InputFileError, JobFileError
from mirrorprep.geometry.rigid_fit import motion, moved
from mirrorprep.handover.files import write_ply
from mirrorprep.intake.read import read_scan
from mirrorprep.job.jobfile import job_from
from mirrorprep.job.run import run_job
from mirrorprep.job.seat_request import joins_two_scans, seat_settings
from mirrorprep.job.stages import steps_of
from mirrorprep.solid.mesh import ScanMesh

JOB = """
[job]
code = "S-1"
purpose = "teaching"
human_data = false
tolerance_mm = 0.5
[scan]
file = "donor.ply"
units = "mm"
accuracy_mm = 0.1
[seating]
seat = true
{seating}
[mould]
build = {mould}
[output]
pictures = false
"""
TWO_SCANS = """
recipient = "recipient.ply"
recipient_units = "mm"
donor_landmarks = "donor.txt"
recipient_landmarks = "recipient.txt"
"""


@pytest.fixture(scope="module")
def phantom():
    return demo_shapes.phantom_head("small")


def local(phantom, points):
    """Return points in the mirrored head frame, where the formulas of the right ear hold."""
    inverse = np.linalg.inv(phantom.pose)
    return moved(points, inverse) * [-1.0, 1.0, 1.0]


def cropped(mesh, kept):
    faces = mesh.faces[kept[mesh.faces].all(axis=1)]
    used, numbers = np.unique(faces, return_inverse=True)
    return ScanMesh(vertices=mesh.vertices[used], faces=numbers.reshape(-1, 3))


def write_marks(file, points):
    lines = [f"{side} {name} {x:.3f} {y:.3f} {z:.3f}\n" for (side, name), (x, y, z) in points.items()]
    file.write_text("".join(lines))


@pytest.fixture(scope="module")
def two_scans(phantom, tmp_path_factory):
    """Both halves of the head as separate open scans, one moved away, with landmarks placed to ±0.3 mm."""
    folder = tmp_path_factory.mktemp("two")
    place = local(phantom, phantom.scan.vertices)
    away = motion(np.array([0.5, -1.0, 0.8, 30.0, -200.0, 60.0]), np.zeros(3))
    donor = cropped(phantom.scan, (place[:, 0] < 25.0) & (place[:, 2] > -110.0))
    write_ply(donor.with_geometry(moved(donor.vertices, away)), folder / "donor.ply")
    write_ply(cropped(phantom.scan, (place[:, 0] > -25.0) & (place[:, 2] > -110.0)), folder / "recipient.ply")
    rng = np.random.default_rng(3)
    donor_marks, recipient_marks = {}, {}
    for name, point in phantom.landmarks.items():
        stem, _, side = name.partition("_")
        if side != "left":
            key = (side or "midline", stem)
            donor_marks[key] = moved(point[None], away)[0] + rng.normal(0.0, 0.3, 3)
        if side != "right":
            recipient_marks[side or "midline", stem] = point + rng.normal(0.0, 0.3, 3)
    write_marks(folder / "donor.txt", donor_marks)
    write_marks(folder / "recipient.txt", recipient_marks)
    return folder


def run(folder, seating, *, mould="false", results="handover"):
    (folder / "job.toml").write_text(JOB.format(seating=seating, mould=mould))
    return run_job(folder / "job.toml", folder=folder / results, overwrite=True)


def error_to_the_true_ear(phantom, part):
    places = local(phantom, part.vertices)
    proud = face(places) > 5.0
    return np.sqrt((lone_ear_field(to_ear_frame(places[proud])) ** 2).mean())


def test_from_head_scan_to_verified_mould(phantom, tmp_path):
    write_ply(phantom.scan, tmp_path / "donor.ply")
    result = run(tmp_path, "", mould="true").require_done()
    assert [stage.name for stage in result.stages][:6] == [
        "intake", "condition", "symmetry", "seating", "measurement", "mould",
    ]  # fmt: skip
    part = read_scan(tmp_path / "handover" / "mirrored_part.stl", units="mm")
    assert error_to_the_true_ear(phantom, part) < 0.1
    told = json.loads((tmp_path / "handover" / "traveller.json").read_text(encoding="utf-8"))
    assert all(check["holds"] for check in told["checks"])
    claims = [check["claim"] for check in told["checks"]]
    assert "The back of the part follows the recipient's skin" in claims
    assert "Seating" in [section["title"] for section in told["sections"]]
    assert "starting shape" in json.dumps(told)


def test_two_scans_and_landmarks(phantom, two_scans):
    result = run(two_scans, TWO_SCANS, mould="true").require_done()
    assert "symmetry" not in [stage.name for stage in result.stages]
    seating = next(stage for stage in result.stages if stage.name == "seating")
    assert seating.figures["route"] == "landmarks"
    assert seating.figures["landmarks"]["rms_mm"] < 1.0
    # settled across the skin; along it the landmarks decide, placed to 0.3 mm
    assert error_to_the_true_ear(phantom, seating.mesh("mirrored")) < 0.3
    page = (two_scans / "handover" / "traveller.json").read_text(encoding="utf-8")
    assert "recipient.txt" not in page


def test_exchanged_landmarks(two_scans, tmp_path):
    for name in ("donor.ply", "recipient.ply", "donor.txt"):
        (tmp_path / name).write_bytes((two_scans / name).read_bytes())
    recipient = (two_scans / "recipient.txt").read_text()
    (tmp_path / "recipient.txt").write_text(recipient.replace("left", "right"))
    with pytest.raises(GeometryError, match="exchanged: 5 of the donor"):
        run(tmp_path, TWO_SCANS)
    # whole heads marked on both sides: the names agree, the places do not
    for name, side in {"donor.txt": "right", "recipient.txt": "left"}.items():
        marks = [line.split() for line in (two_scans / "donor.txt").read_text().splitlines()]
        named = [" ".join([side if word == "right" else word for word in line]) for line in marks]
        (tmp_path / name).write_text("\n".join(named))
    with pytest.raises(GeometryError, match=r"exchanged: the donor('s skin faces| fits)"):
        run(tmp_path, TWO_SCANS.replace("recipient.ply", "donor.ply"))


def test_open_loop(phantom, tmp_path):
    write_ply(phantom.scan, tmp_path / "donor.ply")
    marks = [phantom.landmarks[f"{name}_right"] for name in ("exocanthion", "alare", "cheilion", "tragion")]
    (tmp_path / "loop.txt").write_text("".join(f"{x} {y} {z}\n" for x, y, z in marks))
    stated = "[plane]\nnormal = [{}, {}, {}]\noffset_mm = {}\n".format(
        *phantom.true_plane.normal, phantom.true_plane.offset_mm
    )
    with pytest.raises(GeometryError, match="not closed"):
        run(tmp_path, f'select = "loop"\nloop = "loop.txt"\n{stated}')


def test_recipient_scanned_too_narrowly(phantom, two_scans, tmp_path):
    for name in ("donor.ply", "donor.txt", "recipient.txt"):
        (tmp_path / name).write_bytes((two_scans / name).read_bytes())
    place = local(phantom, phantom.scan.vertices)
    hole = np.linalg.norm(place - [75.0, -11.0, 0.0], axis=1) < 58.0
    write_ply(cropped(phantom.scan, (place[:, 0] > -25.0) & ~hole), tmp_path / "recipient.ply")
    with pytest.raises(GeometryError, match="recipient scan is missing under"):
        run(tmp_path, TWO_SCANS)


@pytest.mark.parametrize(
    ("tables", "kind", "message"),
    [
        ({"select": "sphere"}, JobFileError, "sphere_center is not stated"),
        ({"select": "box", "box_low": [0, 0, 0]}, JobFileError, "box_high is not stated"),
        ({"select": "plane"}, JobFileError, "plane_normal is not stated"),
        ({"select": "loop"}, JobFileError, "names no file"),
        ({"select": "loop", "loop": "absent.txt"}, InputFileError, "absent.txt"),
    ],
)
def test_incomplete_tables(tables, kind, message, tmp_path):
    job = job_from({"seating": {"seat": True, **tables}})
    with pytest.raises(kind, match=message):
        seat_settings(job, tmp_path)


def test_regions_of_the_table(tmp_path):
    told = {
        "sphere": {"sphere_center": [1, 2, 3], "sphere_radius_mm": 9},
        "box": {"box_low": [0, 0, 0], "box_high": [1, 2, 3]},
        "plane": {"plane_normal": [0, 0, 1], "plane_offset_mm": 7},
        "auto": {},
    }
    numbers = {}
    for kind, entries in told.items():
        settings = seat_settings(job_from({"seating": {"select": kind, **entries}}), tmp_path)
        assert settings.region.kind == kind
        numbers[kind] = settings.region.numbers
    assert numbers == {"sphere": (1, 2, 3, 9), "box": (0, 0, 0, 1, 2, 3), "plane": (0, 0, 1, 7), "auto": ()}


def test_one_landmark_file_is_not_enough(phantom, tmp_path):
    write_ply(phantom.scan, tmp_path / "donor.ply")
    write_marks(tmp_path / "donor.txt", {("midline", "nasion"): (0.0, 0.0, 0.0)})
    with pytest.raises(JobFileError, match="Only one landmark file"):
        run(tmp_path, 'donor_landmarks = "donor.txt"')


def test_part_file_and_seating_exclude_each_other(phantom, tmp_path):
    write_ply(phantom.scan, tmp_path / "donor.ply")
    with pytest.raises(JobFileError, match="part file and asks for seating"):
        run(tmp_path, '[part]\nfile = "donor.ply"')


def test_without_seating_the_stages_are_as_before():
    names = [step.name for step in steps_of(job_from({}))]
    assert "seating" not in names
    assert "symmetry" in names
    assert not joins_two_scans(job_from({"seating": {"donor_landmarks": "a", "recipient_landmarks": "b"}}))

"""The commands ``seat`` and ``compare`` on a ball with a bump."""

import pytest

from mirrorprep.handover.files import write_stl
from mirrorprep.intake.read import read_scan
from mirrorprep.solid.certify import examine
from mirrorprep.solid.primitives import box, sphere


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = tmp_path_factory.mktemp("seat")
    ball = sphere(30.0, segments=140)
    write_stl(ball + sphere(6.0, center_mm=[28.0, 0, 0], segments=60), place / "bump.stl")
    write_stl(ball, place / "ball.stl")
    (place / "loop.txt").write_text("27 12 0\n27 0 12\n27 -12 0\n27 0 -12\n27 12 0\n")
    return place


PLANE = ("--normal", "1,0,0")


def test_seat_writes_a_solid_and_reports(mirrorprep, folder, tmp_path):
    out = tmp_path / "part.stl"
    answer = mirrorprep(
        "seat", folder / "bump.stl", "-o", out, "--units", "mm", *PLANE, "--tolerance-mm", 0.5, "--json"
    )
    assert answer.code == 0
    told = answer.json
    assert told["solid"]
    assert told["route"] == "plane"
    assert told["back"]["largest_error_mm"] < 1e-4
    assert told["deviation"]["healthy"]["within_share"] > 0.99
    part = read_scan(out, units="mm")
    assert examine(part).solid
    assert part.bounds_mm[0, 0] == pytest.approx(-34.0, abs=0.05)


@pytest.mark.parametrize(
    "region",
    [
        ("--sphere", "30,0,0,11"),
        ("--box", "20,-10,-10,40,10,10"),
        ("--cut-plane", "1,0,0,27"),
        ("--loop", "loop.txt"),
    ],
)
def test_regions_and_text(mirrorprep, folder, tmp_path, region):
    option, value = region
    value = folder / value if option == "--loop" else value
    answer = mirrorprep(
        "seat", folder / "bump.stl", "-o", tmp_path / "part.3mf", "--units", "mm", *PLANE, option, value
    )
    assert answer.code == 0, answer.err
    assert "settled by" in answer.out
    assert "mm³" in answer.out


def test_two_scans(mirrorprep, folder, tmp_path):
    for name, sign, side in (("donor.txt", 1, "right"), ("recipient.txt", -1, "left")):
        marks = [(sign * x, y, z) for x, y, z in ((20, 20, 10), (18, -24, 0), (22, 3, -20), (5, 10, 27.8))]
        lines = [f"{side} p{k} {x} {y} {z}\n" for k, (x, y, z) in enumerate(marks)]
        (tmp_path / name).write_text("".join(lines))
    answer = mirrorprep(
        *("seat", folder / "bump.stl", "-o", tmp_path / "part.ply", "--recipient", folder / "ball.stl"),
        *("--units", "mm", "--donor-landmarks", tmp_path / "donor.txt"),
        *("--recipient-landmarks", tmp_path / "recipient.txt", "--retention", "holes", "--json"),
    )
    assert answer.code == 0, answer.err
    assert answer.json["route"] == "landmarks"


@pytest.mark.parametrize(
    ("words", "code", "sentence"),
    [
        (("--sphere", "1,2,x,4"), 2, "no number"),
        (("--sphere", "1,2,3"), 2, "has 3 numbers, not 4"),
        (("--sphere", "1,2,3,4", "--box", "1,2,3,4,5,6"), 2, "More than one region"),
        (("--donor-landmarks", "a.txt"), 2, "Only one landmark file"),
        (("--edge-mm", "99"), 2, "edge_mm is 99"),
        (("--sphere", "500,0,0,4"), 5, "holds 0 %"),
        (("--loop", "absent.txt"), 3, "absent.txt"),
    ],
)
def test_bad_input_of_seat(mirrorprep, folder, tmp_path, words, code, sentence):
    out = tmp_path / "part.stl"
    answer = mirrorprep("seat", folder / "bump.stl", "-o", out, "--units", "mm", *PLANE, *words)
    assert (answer.code, answer.out) == (code, "")
    assert sentence in answer.err
    assert not out.exists()


def test_open_recipient_is_mended(mirrorprep, folder, tmp_path):
    mesh = read_scan(folder / "bump.stl", units="mm")
    kept = mesh.vertices[:, 2] < 25.0
    write_stl(
        mesh.with_geometry(mesh.vertices, mesh.faces[kept[mesh.faces].all(axis=1)]), tmp_path / "open.stl"
    )
    answer = mirrorprep(
        "seat", tmp_path / "open.stl", "-o", tmp_path / "part.stl", "--units", "mm", *PLANE, "--json"
    )
    assert answer.code == 0, answer.err


def test_compare_with_a_reference(mirrorprep, folder):
    words = ("--units", "mm", "--tolerance-mm", 0.5, "--accuracy-mm", 0.1)
    answer = mirrorprep("compare", folder / "bump.stl", folder / "ball.stl", *words, "--json")
    assert answer.code == 0
    assert answer.json["largest_mm"] == pytest.approx(4.0, abs=0.02)
    assert answer.json["within_share"] > 0.9
    text = mirrorprep("compare", folder / "bump.stl", folder / "ball.stl", *words).out
    assert "scan accuracy" in text
    assert "#" in text


def test_compare_with_its_own_mirror_image(mirrorprep, folder, tmp_path):
    body = box([20.0, 30.0, 50.0], center_mm=[0, 0, 0]) + box([6, 9, 12], center_mm=[0, 17, 20])
    body += box([3, 5, 4], center_mm=[11, 3, 5])
    write_stl(body, tmp_path / "body.stl")
    answer = mirrorprep("compare", tmp_path / "body.stl", "--units", "mm", "--json")
    assert answer.code == 0, answer.err
    assert len(answer.json["plane"]["normal"]) == 3
    assert answer.json["natural_asymmetry"]


def test_digits_that_mean_nothing_are_not_shown(mirrorprep, folder, tmp_path):
    """A surface against itself differs by rounding alone, some 1e-14 mm; the numbers stay in --json."""
    same = mirrorprep("compare", folder / "bump.stl", folder / "bump.stl", "--units", "mm").out
    assert "e-1" not in same
    assert "#" not in same
    out = tmp_path / "part.stl"
    text = mirrorprep("seat", folder / "bump.stl", "-o", out, "--units", "mm", *PLANE).out
    assert "on the skin (within 0.001 mm)" in text
    assert "e-1" not in text


def test_a_part_that_settled_too_far_is_not_written(mirrorprep, folder, tmp_path):
    out = tmp_path / "part.stl"
    words = ("--normal", "1,0,0", "--offset-mm", 0.5, "--sphere", "28,0,0,9", "--most-shift-mm", 0.2)
    answer = mirrorprep("seat", folder / "bump.stl", "-o", out, "--units", "mm", *words)
    assert (answer.code, answer.out) == (6, "")
    assert "limits 0.2 mm" in answer.err
    assert not out.exists()


def test_nothing_to_compare(mirrorprep, folder, tmp_path):
    write_stl(sphere(2.0, center_mm=[500, 0, 0]), tmp_path / "far.stl")
    answer = mirrorprep("compare", tmp_path / "far.stl", folder / "ball.stl", "--units", "mm")
    assert answer.code == 5
    assert "counterpart" in answer.err

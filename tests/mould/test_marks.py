from dataclasses import replace

import numpy as np
import pytest

from mirrorprep.mould.build import build_mould
from mirrorprep.mould.findings import furniture_findings
from mirrorprep.mould.layout import lay_out
from mirrorprep.mould.marks import DEPTH_MM, arrow_section, text_section
from mirrorprep.mould.settings import MouldSettings
from mirrorprep.progress import SILENT
from mirrorprep.solid.primitives import box, sphere
from mirrorprep.solid.section import level_section, shifted
from mirrorprep.solid.solid import union

LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-"


def picture(section, columns, rows=7):
    cells = [[(c + 0.5, rows - 0.5 - r) for c in range(columns)] for r in range(rows)]
    return ["".join("#" if section.contains([p])[0] else "." for p in row) for row in cells]


def test_letters_are_legible():
    assert picture(text_section("A"), 5) == [
        "·###·".replace("·", "."),
        *["#...#"] * 2,
        "#####",
        *["#...#"] * 3,
    ]
    assert picture(text_section("7"), 5)[0] == "#####"
    assert picture(text_section("L1"), 11)[6] == "#####..###."[:11]


def test_all_letters_differ_and_no_dots_touch_at_a_corner_only():
    seen = set()
    for letter in LETTERS:
        section = text_section(letter)
        seen.add(tuple(picture(section, 5)))
        points = np.vstack(section.loops)
        assert len(np.unique(points.round(6), axis=0)) == len(points)
    assert len(seen) == len(LETTERS)


def test_arrows_point_up_and_down():
    up, down = picture(arrow_section(up=True), 5), picture(arrow_section(up=False), 5)
    assert up[0] == "..#.."
    assert down == up[::-1]


BARE = {"pull_direction": (0, 0, 1), "pry_slots": False, "bolts": "none", "key_count": 0}


@pytest.mark.parametrize(("body", "lines"), [("block", 1), ("shell", 2)])
def test_both_halves_are_marked_on_their_foot(body, lines):
    mould = build_mould(sphere(20.0), settings=MouldSettings(body=body, job_code="EAR-07", **BARE))
    plain = build_mould(sphere(20.0), settings=MouldSettings(body=body, marks=False, **BARE))
    for half, bare, letter in zip(mould.halves, plain.halves, "AB", strict=True):
        cut = bare.solid - half.solid
        parts = [text_section(letter), text_section("EAR-07"), arrow_section(up=True)]
        area = sum(part.area_mm2 for part in parts)
        assert cut.volume_mm3 == pytest.approx(area * DEPTH_MM, rel=1e-6)
    # Seen from below, with the pull upward, the text of half_a is not mirrored.
    turn = np.eye(4)
    turn[:3, :3] = np.array([[1, 0, 0], [0, 0, 1], [0, -1, 0]]) @ mould.frame.rotation.T
    cut = plain.halves[0].solid - mould.halves[0].solid
    cut = union([piece for piece in cut.fragments() if piece.volume_mm3 > 1e-6]).transformed(turn)
    text = level_section(cut, float(cut.bounds_mm[:, 2].mean()))
    wide, high = np.ptp(text.bounds_mm, axis=0)
    assert (wide, high) == pytest.approx({1: (53.2, 7.2), 2: (35.2, 16.2)}[lines])
    first = shifted(
        text, -text.bounds_mm[0] - 0.1 + np.array([0.2, 0.2]) - np.array([0.0, 9.0 * (lines - 1)])
    )
    assert picture(first, 5) == picture(text_section("A"), 5)


def test_missing_marks_are_noted():
    settings = MouldSettings(body="shell", feet=False, **BARE)
    mould = build_mould(sphere(20.0), settings=settings)
    assert "marks-missing" in {finding.code for finding in mould.findings}


def test_a_code_without_room_is_left_out_and_told():
    code = "A-VERY-LONG-CODE-OF-A-WHOLE-LINE"
    settings = MouldSettings(body="block", parting="plane", pour_up=(0, 1, 0), job_code=code, **BARE)
    layout = lay_out(sphere(20.0), settings, progress=SILENT)
    assert (layout.marked, layout.coded) == (2, 0)
    (found,) = furniture_findings(layout)
    assert (found.code, found.severity.value, found.measured, found.limit) == (
        "code-missing",
        "note",
        0.0,
        2.0,
    )
    short = lay_out(sphere(20.0), replace(settings, job_code="EAR-07"), progress=SILENT)
    assert (short.marked, short.coded) == (2, 2)
    assert furniture_findings(short) == []


def test_a_very_wide_mould_is_marked_too():
    settings = MouldSettings(body="block", parting="plane", pour_up=(0, 1, 0), **BARE)
    layout = lay_out(box([1400, 60, 40]), settings, progress=SILENT)
    assert layout.marked == 2

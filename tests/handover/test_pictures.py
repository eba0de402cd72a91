"""Pictures of scan, plane, mirrored part and deviation."""

import io

import numpy as np
import pytest
from matplotlib.image import imread

from mirrorprep.handover.keys import _share_words, _tick_words, _ticks
from mirrorprep.handover.palette import DONOR, MIRRORED, rgb
from mirrorprep.handover.panel import View
from mirrorprep.handover.pictures import (
    picture_mirrored,
    picture_plane,
    picture_scan,
)
from mirrorprep.solid.finding import Finding, Severity
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.plane import Plane
from mirrorprep.solid.primitives import box, sphere

pytestmark = pytest.mark.usefixtures("small_panels")
PLANE = Plane(normal=[1, 0, 0], offset_mm=0.0)


def pixels(png):
    assert png[:8] == b"\x89PNG\r\n\x1a\n"
    return np.round(imread(io.BytesIO(png))[:, :, :3] * 255).astype(int)


def share_of(picture, color, reach=40):
    """Share of the pixels whose hue is that of a colour, whatever the light."""
    wanted = rgb(color) / np.linalg.norm(rgb(color))
    length = np.linalg.norm(picture, axis=2)
    along = (picture @ wanted) / np.maximum(length, 1)
    return float(((along > 0.995) & (length > reach)).mean())


def finding(severity, where, code="open-edges"):
    return Finding(code=code, severity=severity, message="Three open edges around a hole.", where=where)


def test_scan_twice_the_same():
    first, second = (picture_scan(sphere(10)) for _ in range(2))
    assert first == second


def test_findings_are_marked_gravest_first_and_only_where_they_have_a_place():
    plain = pixels(picture_scan(sphere(10)))
    placeless = picture_scan(sphere(10), [finding(Severity.STOP, ())])
    assert pixels(placeless).shape == plain.shape
    marked = pixels(
        picture_scan(
            sphere(10),
            [finding(Severity.NOTE, ((0.0, -10.0, 0.0),)), finding(Severity.STOP, ((0.0, 10.0, 0.0),))],
        )
    )
    assert marked.shape[0] > plain.shape[0]  # the list below
    assert share_of(marked, "#8a1c1c") > share_of(plain, "#8a1c1c") + 1e-4


def test_own_colours_of_a_scan_are_shown():
    ball = sphere(10).mesh
    colors = np.tile(np.array([[20, 60, 220, 255]], dtype=np.uint8), (len(ball.vertices), 1))
    picture = pixels(picture_scan(ScanMesh(vertices=ball.vertices, faces=ball.faces, colors=colors)))
    assert share_of(picture, "#143cdc") > 0.2


def test_plane_with_and_without_a_map():
    ball = sphere(10).mesh
    plain = pixels(picture_plane(ball, PLANE, [Plane(normal=[0, 1, 0], offset_mm=1.0)]))
    asymmetry = np.sign(ball.vertices[:, 0])
    mapped = pixels(picture_plane(ball, PLANE, asymmetry_mm=asymmetry))
    assert mapped.shape[0] > plain.shape[0]
    orange, blue = (share_of(mapped, color) for color in ("#bf5312", "#004081"))
    assert orange > 0.005
    assert blue > 0.005


def test_donor_and_mirrored_have_their_colours_and_sides():
    donor = sphere(6, center_mm=[12, 0, 0])
    twin = sphere(6, center_mm=[-12, 0, 0])
    front = View(toward=(0, -1, 0))
    picture = pixels(picture_mirrored(donor, twin, PLANE, front=front))
    assert share_of(picture, DONOR) > 0.02
    assert share_of(picture, MIRRORED) > 0.02
    with_context = picture_mirrored(donor, twin, PLANE, context=box([10, 10, 10]))
    assert share_of(pixels(with_context), "#d8cdbb") > share_of(picture, "#d8cdbb")


def test_places_without_value_are_grey_and_far_values_take_the_end_colour():
    ball = sphere(10).mesh
    half = np.where(ball.vertices[:, 2] > 0, 0.5, np.nan)
    assert share_of(pixels(picture_plane(ball, PLANE, asymmetry_mm=half)), "#b9b9b9") > 0.02


def test_ticks_are_round_and_end_with_the_range():
    assert _ticks((-2.5, 2.5)).tolist() == [-2.5, -2.0, -1.0, 0.0, 1.0, 2.0, 2.5] or 0.0 in _ticks(
        (-2.5, 2.5)
    )
    ticks = _ticks((0.0, 3.0))
    assert ticks[0] == 0.0
    assert ticks[-1] == 3.0
    values = np.array([-4.0, 1.0])
    assert _tick_words(-2.0, (-2.0, 2.0), values, signed=True) == "≤ −2"
    assert _tick_words(2.0, (-2.0, 2.0), values, signed=True) == "+2"
    assert _tick_words(2.0, (0.0, 2.0), np.array([5.0]), signed=False) == "≥ 2"
    assert _share_words(0.25, 1.0) == "grey: no value (25%)"

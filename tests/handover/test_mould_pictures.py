"""Pictures of the mould."""

import io

import numpy as np
import pytest
from matplotlib.image import imread

from mirrorprep.handover.mould_pictures import (
    _cut_bodies,
    _shifts,
    face_view,
    picture_backs,
    picture_cutaway,
    picture_exploded,
    picture_undercut,
    side_view,
)
from mirrorprep.handover.palette import HALF_A, HALF_B, rgb
from mirrorprep.solid.plane import Plane
from mirrorprep.solid.primitives import box, sphere

SECTION = Plane(normal=[1, 0, 0], offset_mm=0.0)


def test_exploded_and_cutaway_twice_the_same(small_panels, mould):
    half_a, half_b, part, channels = mould
    for make in (
        lambda: picture_exploded(half_a, half_b, part, [0, 0, 1], up=[0, 1, 0]),
        lambda: picture_cutaway([half_a, half_b], part, channels, SECTION, up=[0, 1, 0]),
    ):
        first = make()
        assert first[:4] == b"\x89PNG"
        assert first == make()


def test_backs_show_each_half_in_its_own_panel(small_panels, mould):
    half_a, half_b, _, _ = mould
    picture = imread(io.BytesIO(picture_backs(half_a, half_b, [0, 0, 1], up=[0, 1, 0])))[:-70, :, :3]
    third = picture.shape[1] // 3
    for number, (mine, other) in enumerate(((HALF_A, HALF_B), (HALF_B, HALF_A))):
        panel = picture[60:, number * third + 40 : (number + 1) * third - 40]
        near = [(np.abs(panel - rgb(color)).sum(axis=2) < 0.25).sum() for color in (mine, other)]
        assert near[0] > 20 * near[1]
    below = picture[60:, 2 * third + 20 :]
    rows = [np.flatnonzero((np.abs(below - rgb(c)).sum(axis=2) < 0.3).any(axis=1)) for c in (HALF_A, HALF_B)]
    assert rows[0].mean() < rows[1].mean()  # half_a moves up


def test_nothing_hides_anything_when_taken_apart(mould):
    half_a, half_b, part, _ = mould
    pull = np.array([0.0, 0.0, 1.0])
    shifts = _shifts(half_a.mesh, part.mesh, half_b.mesh, pull)
    up, middle, low = (
        mesh.vertices @ pull + shift
        for mesh, shift in zip((half_a.mesh, part.mesh, half_b.mesh), shifts, strict=True)
    )
    assert up.min() > middle.max() > middle.min() > low.max()


def test_the_halves_may_come_in_either_order(small_panels, mould):
    half_a, half_b, part, _ = mould
    assert picture_exploded(half_a, half_b, part, [0, 0, -1])[:4] == b"\x89PNG"


def test_a_cut_is_capped_and_hatched_apart_from_the_surface():
    surface, cap = _cut_bodies(box([10, 10, 10]), SECTION, "#7d9cc0", 45.0)
    assert surface.hatch_deg is None
    assert cap.hatch_deg == 45.0
    a, b, c = (cap.vertices[cap.faces[:, i]] for i in range(3))
    assert 0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1).sum() == pytest.approx(100)
    assert _cut_bodies(box([10, 10, 10], center_mm=[20, 0, 0]), SECTION, "#7d9cc0", 45.0) == []


def test_one_half_alone_can_be_cut(small_panels, mould):
    assert picture_cutaway([mould[0]], None, None, SECTION, up=[0, 1, 0])[:4] == b"\x89PNG"


def test_views_stand_square_to_the_block():
    turn = np.eye(4)
    angle = np.radians(20)
    turn[:2, :2] = [[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]]
    block = box([40, 20, 10]).transformed(turn).mesh
    view = side_view([0, 0, 1], block.vertices)
    right = view.axes()[0]
    assert abs(right @ turn[:3, 0]) == pytest.approx(1)
    with_up = side_view([0, 0, 1], block.vertices, up=turn[:3, 1])
    assert with_up.axes()[0] @ turn[:3, 1] == pytest.approx(1)
    np.testing.assert_allclose(face_view(with_up, [0, 0, 1]).axes()[1], turn[:3, 1], atol=1e-12)


def test_undercut_shows_deeper_darker(small_panels):
    ball = sphere(10).mesh
    height = ball.vertices[ball.faces].mean(axis=1)[:, 2]
    depth = np.where(height < 0, -height, 0.0)
    picture = imread(io.BytesIO(picture_undercut(ball, depth, [0, 0, 1], up=[0, 1, 0])))
    third = picture.shape[1] // 3
    middle = picture[picture.shape[0] // 3 : picture.shape[0] // 2]
    along, against = middle[:, third // 2], middle[:, third + third // 2]
    assert along[:, :3].mean() > against[:, :3].mean() + 0.3

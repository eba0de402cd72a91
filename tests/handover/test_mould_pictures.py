"""Pictures of the mould."""

import io

import numpy as np
import pytest
from matplotlib.image import imread

from mirrorprep.handover.mould_pictures import (
    _cut_bodies,
    _shifts,
    face_view,
    picture_cutaway,
    picture_exploded,
    picture_parting,
    picture_undercut,
    side_view,
)
from mirrorprep.handover.palette import HALF_A, HALF_B, STOP, rgb
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


def test_parting_line_lies_between_the_halves_colours(small_panels):
    ball = sphere(10).mesh
    above = ball.vertices[ball.faces].mean(axis=1)[:, 2] > 0.0
    angle = np.linspace(0.0, 2.0 * np.pi, 90, endpoint=False)
    equator = 10.0 * np.column_stack([np.cos(angle), np.sin(angle), 0.0 * angle])
    drawn, bare = (
        imread(io.BytesIO(picture_parting(ball, above, lines, [0, 0, 1], up=[0, 1, 0])))[:, :, :3]
        for lines in ([equator], [])
    )
    assert drawn.shape == bare.shape
    panel = slice(0, drawn.shape[1] // 3)

    def rows(picture, color):
        return np.flatnonzero((np.abs(picture[:-70, panel] - rgb(color)) < 0.03).all(axis=2).any(axis=1))

    assert len(rows(bare, STOP)) == 0
    line = rows(drawn, STOP)
    middle = (line.min() + line.max()) / 2.0
    height = drawn.shape[0] - 70
    assert abs(middle - height / 2.0) < 0.15 * height
    blue = np.abs(bare[: int(middle) - 12, panel] - rgb(HALF_A)).sum(axis=2).min()
    sand = np.abs(bare[int(middle) + 12 : -70, panel] - rgb(HALF_B)).sum(axis=2).min()
    assert max(blue, sand) < 0.3


def test_a_line_that_something_hides_is_dotted(small_panels):
    ball = sphere(10).mesh
    above = np.ones(len(ball.faces), dtype=bool)
    behind = np.array([[-3.0, -3.0, 0.0], [3.0, -3.0, 0.0], [3.0, 3.0, 0.0], [-3.0, 3.0, 0.0]])
    outer = 12.0 / 3.0 * behind  # outside the ball, seen from everywhere
    inside, seen = (
        (
            np.abs(imread(io.BytesIO(picture_parting(ball, above, [loop], [0, 0, 1])))[:, :, :3] - rgb(STOP))
            < 0.03
        )
        .all(axis=2)[:-70]
        .sum()
        for loop in (behind, outer)
    )
    assert inside < 0.15 * seen

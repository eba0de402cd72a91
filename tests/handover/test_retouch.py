"""Hollows, outlines and section lines."""

import numpy as np
import pytest

from mirrorprep.handover.panel import Body, View, draw
from mirrorprep.handover.retouch import (
    _contours_below_zero,
    _depth_below_surroundings,
    _outlines,
    _section_lines,
    retouched,
)
from mirrorprep.solid.primitives import box, frustum

FRONT = View(toward=(0, 0, 1), up=(0, 1, 0))


def shot_of(solid, view=FRONT, **options):
    body = Body(vertices=solid.mesh.vertices, faces=solid.mesh.faces, **options)
    return draw([body], view, size_px=(400, 400))


def test_half_the_size(drawing):
    assert retouched(shot_of(box([1, 1, 1]))).shape == (200, 200, 3)


def test_a_slanting_flat_face_gets_no_shade(drawing):
    shot = shot_of(box([20, 20, 1]), View(toward=(0.6, 0.2, 1), up=(0, 1, 0)))
    dark = _depth_below_surroundings(shot)
    assert dark[60:140, 60:140].max() < 0.01


def test_the_bottom_of_a_bore_is_darker_than_the_face(drawing):
    plate = box([20, 20, 10]) - frustum([0, 0, -2], [0, 0, 9], start_radius_mm=1.2, stop_radius_mm=1.2)
    dark = _depth_below_surroundings(shot_of(plate))
    assert dark[100, 100] > 0.2
    assert dark[40, 40] < 0.05


def test_outlines_follow_the_body_and_its_steps(drawing):
    stepped = box([20, 20, 2]) + box([8, 8, 2], center_mm=[0, 0, 2])
    lines = _outlines(shot_of(stepped))
    assert lines[200].sum() >= 4  # two borders and two steps along the middle row
    assert _outlines(shot_of(stepped, outlined=False)).sum() == 0


def test_section_lines_only_where_asked_and_at_their_angle(drawing):
    plain = shot_of(box([20, 20, 2]))
    assert _section_lines(plain).sum() == 0
    hatched = _section_lines(shot_of(box([20, 20, 2]), hatch_deg=45.0))
    inside = hatched[100:300, 100:300]
    assert 0.05 < inside.mean() < 0.3
    # a line at 45° repeats one pixel up and one to the right
    assert inside[1:, :-1] == pytest.approx(inside[:-1, 1:])
    assert np.abs(inside[1:, 1:] - inside[:-1, :-1]).sum() > 0


def test_an_empty_picture_stays_paper(drawing):
    body = Body(vertices=np.eye(3), faces=np.zeros((0, 3), dtype=np.int64))
    picture = retouched(draw([body], FRONT, size_px=(40, 40)))
    assert (picture == picture[0, 0]).all()


def test_contours_mark_what_is_below_zero_and_nothing_else(drawing):
    plate = box([20, 20, 2]).mesh
    shares = (plate.vertices[:, 0] + 10) / 20
    body = Body(vertices=plate.vertices, faces=plate.faces, shares=shares)
    lines = _contours_below_zero(draw([body], FRONT, size_px=(400, 400)))
    row = lines[200]
    runs = int((np.diff(row) > 0).sum())
    assert runs == 3  # at 1/8, 2/8 and 3/8 of the range
    assert row[200:].sum() == 0
    plain = Body(vertices=plate.vertices, faces=plate.faces)
    assert _contours_below_zero(draw([plain], FRONT, size_px=(400, 400))).sum() == 0

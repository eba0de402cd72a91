import numpy as np
import pytest

from mirrorprep.condition.draft import Draft
from mirrorprep.condition.spike_step import flatten_spikes
from mirrorprep.solid.primitives import frustum, sphere


def spiked(tips, factor=1.2):
    ball = sphere(50.0, segments=160).mesh
    points = np.array(ball.vertices)
    points[tips] *= factor
    return ball, Draft.of(ball.with_geometry(points))


def test_needles_come_down_to_the_surface_and_nothing_else_moves():
    tips = [77, 1500, 4100]
    ball, draft = spiked(tips)
    flat, step = flatten_spikes(draft, slenderness=2.5)
    assert step.counts["spikes"] == 3
    assert np.flatnonzero(flat.moved_mm).tolist() == tips
    np.testing.assert_allclose(flat.moved_mm[tips], 10.0, atol=0.1)
    assert np.abs(np.linalg.norm(flat.vertices[tips], axis=1) - 50.0).max() < 0.1
    others = np.delete(np.arange(len(ball.vertices)), tips)
    np.testing.assert_array_equal(flat.vertices[others], ball.vertices[others])
    assert len(step.where) == 3


def test_a_modelled_cone_keeps_its_tip():
    cone = frustum([0, 0, 0], [0, 0, 40], start_radius_mm=6, stop_radius_mm=0, segments=600).mesh
    flat, step = flatten_spikes(Draft.of(cone), slenderness=2.5)
    assert step.counts["spikes"] == 0
    assert flat.vertices[:, 2].max() == pytest.approx(40.0)


def test_a_coarse_mesh_or_one_full_of_needles_is_left_alone():
    coarse = sphere(50.0, segments=24).mesh
    points = np.array(coarse.vertices)
    points[5] *= 2.0
    assert not flatten_spikes(Draft.of(coarse.with_geometry(points)), slenderness=2.5)[1].changed
    _, draft = spiked(list(range(0, 6000, 30)))
    assert not flatten_spikes(draft, slenderness=2.5)[1].changed

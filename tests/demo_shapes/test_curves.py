"""Limbs along curves and grooves on a skin."""

import numpy as np
import pytest

from demo_shapes.curves import Groove, Tube, spline


def test_a_closed_spline_through_a_circle_stays_near_it():
    angle = 2 * np.pi * np.arange(12) / 12
    loop = spline(np.stack([10 * np.cos(angle), 10 * np.sin(angle)], axis=1), 300, closed=True)
    assert np.abs(np.linalg.norm(loop, axis=1) - 10.0).max() < 0.01
    assert len(np.unique(loop.round(9), axis=0)) == 300


def test_a_straight_limb_is_a_capsule():
    limb = Tube([(x, 0, 0, 2.0) for x in (0, 3, 7, 10)], reach_mm=50.0)
    points = np.random.default_rng(2).uniform([-5, -6, -6], [15, 6, 6], (500, 3))
    nearest = np.clip(points[:, 0], 0, 10)
    exact = np.linalg.norm(points - np.stack([nearest, 0 * nearest, 0 * nearest], axis=1), axis=1) - 2.0
    assert np.abs(limb.distance_mm(points) - exact).max() < 1e-9


def test_a_ring_limb_is_a_torus():
    angle = np.linspace(0, 2 * np.pi, 40)
    ring = Tube([(20 * np.cos(a), 20 * np.sin(a), 0, 5.0) for a in angle], 2000, reach_mm=9.0)
    points = np.random.default_rng(3).uniform([-26, 8, -6], [26, 26, 6], (800, 3))
    exact = np.hypot(np.hypot(points[:, 0], points[:, 1]) - 20.0, points[:, 2]) - 5.0
    near = exact < 3.5  # within reach, and away from the free ends at y = 0
    assert near.sum() > 100
    assert np.abs(ring.distance_mm(points) - exact)[near].max() < 2e-3


def test_beyond_its_reach_a_limb_answers_a_lower_bound():
    limb = Tube([(0, 0, 0, 1.0), (5, 0, 0, 2.0), (10, 0, 0, 1.0)], reach_mm=6.0)
    far = limb.distance_mm(np.array([[5.0, 40.0, 0.0]]))[0]
    assert 0.0 < far <= 38.0


def test_a_swelling_limb_follows_its_radius():
    limb = Tube([(0, 0, 0, 1.0), (10, 0, 0, 3.0), (20, 0, 0, 5.0)], reach_mm=20.0)
    assert limb.distance_mm(np.array([[10.0, 3.0, 0.0]]))[0] == pytest.approx(0.0, abs=0.02)


def test_a_groove_ends_and_fades():
    line = Groove([(0, 0, 1.0, 0.5), (10, 0, 1.0, 0.5), (20, 0, 0.0, 0.5)])
    depth = line.depth_mm(np.array([[5, 7, 0], [5, -3, 0], [5, 0, 0.5], [5, 0, 9], [-8, 0, 0.0]]))
    assert depth[0] == depth[1] == pytest.approx(1.0, abs=0.2)
    assert depth[2] == pytest.approx(depth[0] * np.exp(-0.5), rel=1e-3)
    assert depth[3] == depth[4] == 0.0

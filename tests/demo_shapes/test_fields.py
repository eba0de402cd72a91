"""Fields: distances where they are exact, and bounds on blends."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from demo_shapes.fields import (
    ball,
    bump,
    carve,
    ellipsoid,
    rotation,
    round_cone,
    smooth_step,
    soft_max,
    soft_min,
)

POINTS = np.random.default_rng(1).uniform(-12, 12, (500, 3))
NUMBERS = st.floats(-50, 50)


@given(NUMBERS, NUMBERS, st.floats(0.1, 20))
@settings(deadline=None, derandomize=True)
def test_blends_stay_within_a_quarter_of_the_blend(first, second, blend):
    low = soft_min(np.array([first]), np.array([second]), blend)[0]
    high = soft_max(np.array([first]), np.array([second]), blend)[0]
    assert min(first, second) - blend / 4 - 1e-9 <= low <= min(first, second)
    assert max(first, second) <= high <= max(first, second) + blend / 4 + 1e-9
    if abs(first - second) >= blend:
        assert low == min(first, second)


def test_balls_and_ellipsoids():
    assert ball(np.array([[3.0, 4.0, 0.0]]), (0, 0, 0), 2.0)[0] == pytest.approx(3.0)
    angle = np.random.default_rng(0).normal(size=(200, 3))
    skin = angle / np.linalg.norm(angle, axis=1)[:, None] * [5.0, 3.0, 2.0]
    turn = rotation(2, 30.0) @ rotation(0, -20.0)
    assert np.abs(ellipsoid(skin @ turn.T + [1, 2, 3], (1, 2, 3), (5, 3, 2), turn=turn)).max() < 1e-9
    assert (ellipsoid(skin * 1.1, (0, 0, 0), (5, 3, 2)) > 0).all()
    assert (ellipsoid(skin * 0.9, (0, 0, 0), (5, 3, 2)) < 0).all()


def test_round_cone_of_one_radius_is_a_capsule():
    along = np.clip(POINTS[:, 0], -4, 4)
    exact = np.linalg.norm(POINTS - np.stack([along, 0 * along, 0 * along], axis=1), axis=1) - 2.0
    assert np.abs(round_cone(POINTS, (-4, 0, 0), (4, 0, 0), 2.0, 2.0) - exact).max() < 1e-12


def test_carving_takes_away_and_never_adds():
    body, tool = ball(POINTS, (0, 0, 0), 8.0), ball(POINTS, (6, 0, 0), 5.0)
    carved = carve(body, tool, 1.0)
    assert (carved >= body).all()
    assert (carved[tool < -1e-9] > 0).all()


def test_bumps_and_steps():
    assert bump(np.zeros((1, 3)), (0, 0, 0), (1, 2, 3), 4.0)[0] == 4.0
    steps = smooth_step(0.0, 2.0, np.array([-1.0, 0.0, 1.0, 2.0, 5.0]))
    assert steps.tolist() == [0.0, 0.0, 0.5, 1.0, 1.0]
    assert smooth_step(2.0, 0.0, np.array([2.5, -1.0])).tolist() == [0.0, 1.0]


@pytest.mark.parametrize("axis", [0, 1, 2])
def test_rotations_are_proper_and_keep_their_axis(axis):
    turn = rotation(axis, 35.0)
    assert np.allclose(turn @ turn.T, np.eye(3), atol=1e-15)
    assert np.linalg.det(turn) == pytest.approx(1.0)
    assert np.allclose(turn @ np.eye(3)[axis], np.eye(3)[axis])

"""Reflection: Householder identities and a worked example."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mirrorprep.geometry.reflection import reflect, reflection_matrix

_UNIT = st.tuples(*[st.floats(-1, 1)] * 3).filter(lambda n: np.linalg.norm(n) > 1e-3)


def test_worked_example():
    """n = (1, 2, 2)/3, d = 4: row 1 is (7/9, −4/9, −4/9, 8/3); (1, 0, 0) → (31, 44, 44)/9 (closed form)."""
    matrix = reflection_matrix(np.array([1, 2, 2]) / 3, 4.0)
    assert matrix[0] == pytest.approx([7 / 9, -4 / 9, -4 / 9, 8 / 3], abs=1e-14)
    assert matrix @ [1, 0, 0, 1] == pytest.approx([31 / 9, 44 / 9, 44 / 9, 1], abs=1e-14)


@settings(deadline=None, derandomize=True, max_examples=60)
@given(normal=_UNIT, offset=st.floats(-100, 100))
def test_householder_identities(normal, offset):
    """det = −1, trace = 1, H² = I, eigenvalues (−1, 1, 1) (Householder)."""
    matrix = reflection_matrix(normal, offset)
    linear = matrix[:3, :3]
    assert np.linalg.det(linear) == pytest.approx(-1.0, abs=1e-13)
    assert np.trace(linear) == pytest.approx(1.0, abs=1e-13)
    assert matrix @ matrix == pytest.approx(np.eye(4), abs=1e-11)
    assert np.linalg.eigvalsh(linear) == pytest.approx([-1, 1, 1], abs=1e-12)


def test_two_mirrors_turn_by_twice_their_angle():
    """Two mirrors at an angle θ make a rotation by 2θ; parallel at a distance δ, a shift by 2δ (identity)."""
    theta = np.radians(17.0)
    turn = reflection_matrix([np.cos(theta), np.sin(theta), 0], 0) @ reflection_matrix([1, 0, 0], 0)
    assert np.degrees(np.arctan2(turn[1, 0], turn[0, 0])) == pytest.approx(34.0, abs=1e-12)
    shift = reflection_matrix([0, 0, 1], 7.5) @ reflection_matrix([0, 0, 1], 2.5)
    assert shift[:3, 3] == pytest.approx([0, 0, 10.0], abs=1e-12)


def test_points_move_as_the_matrix_says():
    points = np.random.default_rng(3).normal(size=(20, 3))
    matrix = reflection_matrix([1, -2, 0.5], 3.0)
    assert reflect(points, [1, -2, 0.5], 3.0) == pytest.approx(points @ matrix[:3, :3].T + matrix[:3, 3])


@pytest.mark.parametrize(
    ("tilt_deg", "shift_mm"),
    [(0.1, 0.279), (0.5, 1.396), (1.0, 2.792), (1.66, 4.635), (2.0, 5.584)],
)
def test_tilt_error_at_an_ear(tilt_deg, shift_mm):
    """A plane tilted by ε moves a point 80 mm from it by 2·80·sin ε (closed form)."""
    point = np.array([[80.0, 0, 0]])
    tilt = np.radians(tilt_deg)
    right = reflect(point, [1, 0, 0], 0)
    wrong = reflect(point, [np.cos(tilt), np.sin(tilt), 0], 0)
    assert np.linalg.norm(right - wrong) == pytest.approx(shift_mm, abs=1e-3)

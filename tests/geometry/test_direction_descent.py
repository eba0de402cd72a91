import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mirrorprep.geometry.direction_descent import descend

AIM = np.array([0.36, -0.48, 0.8])


def away_deg(direction, aim=AIM):
    return np.degrees(np.arccos(min(1.0, abs(float(direction @ aim)))))


def turned(angle_deg, seed=0):
    side = np.cross(AIM, np.random.default_rng(seed).normal(size=3))
    side /= np.linalg.norm(side)
    return np.cos(np.radians(angle_deg)) * AIM + np.sin(np.radians(angle_deg)) * side


@settings(deadline=None, max_examples=30, derandomize=True)
@given(st.floats(0.0, 12.0), st.integers(0, 1000), st.booleans())
def test_bowl_is_found_from_either_side(angle_deg, seed, opposite):
    start = turned(angle_deg, seed) * (-1 if opposite else 1)
    found = descend(lambda d: 1.0 - (d @ AIM) ** 2, start, first_rad=0.05, last_rad=0.01)
    assert away_deg(found.direction) < 0.1
    assert np.linalg.norm(found.direction) == pytest.approx(1.0)


def test_few_trials_suffice_near_the_minimum():
    found = descend(lambda d: 1.0 - (d @ AIM) ** 2, turned(2.5), first_rad=0.05, last_rad=0.01)
    assert len(found.costs) <= 24
    assert away_deg(found.direction) < 0.1


def test_kink_is_found_without_a_quadratic():
    # |u| + 3 |v| about the aim: no smooth model fits, the rings still lead down
    def cost(directions):
        return np.abs(np.cross(directions, AIM)) @ [1.0, 3.0, 1.0]

    found = descend(cost, turned(6.0, 3), first_rad=0.05, last_rad=0.005)
    assert away_deg(found.direction) < 0.6


def test_noise_is_averaged_out():
    rng = np.random.default_rng(5)

    def cost(directions):
        return 1.0 - (directions @ AIM) ** 2 + rng.normal(scale=2e-4, size=len(directions))

    ends = [
        away_deg(descend(cost, turned(4.0, k), first_rad=0.05, last_rad=0.01).direction) for k in range(20)
    ]
    assert np.median(ends) < 1.0
    assert max(ends) < 2.5


def test_flat_ground_ends_and_keeps_what_was_tried():
    found = descend(lambda d: np.zeros(len(d)), AIM, first_rad=0.05, last_rad=0.01)
    np.testing.assert_allclose(found.direction, AIM)
    assert found.cost == 0.0
    assert len(found.directions) == len(found.costs)

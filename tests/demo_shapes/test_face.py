"""The head without ears."""

import numpy as np
import pytest

from demo_shapes.face import BASE_Z_MM, face
from demo_shapes.landmarks import hits


def profile(x, z):
    """Return how far the face stands forward."""
    return float(hits(face, [(x, 150.0, z)], (0.0, -1.0, 0.0), length_mm=140.0)[0, 1])


def test_left_and_right_are_the_same_to_the_last_bit():
    points = np.random.default_rng(1).uniform([-90, -110, -170], [90, 125, 140], (20_000, 3))
    assert np.array_equal(face(points), face(points * [-1.0, 1.0, 1.0]))


def test_there_is_no_crease_on_the_midline():
    heights = np.linspace(-120, 100, 89)
    for z in heights[(heights < -58) | (heights > -40)]:  # the bow of the lips has one
        near, far = profile(0.3, z), profile(0.6, z)
        slope = (profile(0.0, z) - near) / 0.3
        assert abs(slope) < 0.06, z
        assert abs(near - far) < 0.12, z


def test_features_stand_in_order():
    nose, lip, chin, brow = profile(0, -17), profile(0, -46), profile(0, -84), profile(0, 38)
    assert nose > lip + 12
    assert nose > brow + 12
    assert abs(lip - chin) < 12
    assert profile(20, 38) > profile(31, 28) + 2.0  # the brow stands over the orbit
    assert profile(31, 15) > profile(31, 10.2) + 0.5  # the lid over its slit
    assert profile(8, -45.5) > profile(8, -50.1) + 1.0  # the lip over the mouth's line


def test_nostrils_are_hollow():
    assert face(np.array([[7.0, 99.2, -26.0]]))[0] > 0.5
    assert face(np.array([[0.0, 99.2, -24.0]]))[0] < -0.5


def test_base_is_flat():
    grid = np.stack(np.meshgrid(np.linspace(-30, 30, 13), np.linspace(-50, 10, 13)), axis=-1).reshape(-1, 2)
    starts = np.column_stack([grid, np.full(len(grid), -200.0)])
    base = hits(face, starts, (0.0, 0.0, 1.0), length_mm=60.0)
    assert base[:, 2] == pytest.approx(BASE_Z_MM, abs=1e-3)


def test_input_stays_as_it_was():
    points = np.array([[-50.0, 10.0, 0.0]])
    face(points)
    assert points[0, 0] == -50.0

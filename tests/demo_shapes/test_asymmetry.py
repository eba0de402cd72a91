"""The asymmetry: its size, and what it leaves alone."""

import numpy as np
import pytest

from demo_shapes.asymmetry import warped
from mirrorprep.solid.primitives import sphere

BALL = sphere(80.0, segments=96).mesh


def normal_displacement(bend):
    points = BALL.vertices
    shift = bend(points) - points
    return (shift * points).sum(axis=1) / np.linalg.norm(points, axis=1)


@pytest.mark.parametrize("seed", [0, 7])
def test_rms_on_the_displaced_half(seed):
    found = normal_displacement(warped(BALL.vertices, BALL.faces, rms_mm=0.6, seed=seed))
    right = BALL.vertices[:, 0] > 0
    assert np.sqrt((found[right] ** 2).mean()) == pytest.approx(0.6, rel=0.1)
    assert np.abs(found[~right]).max() == 0.0


def test_no_shift_or_tilt_of_the_plane_explains_it():
    found = normal_displacement(warped(BALL.vertices, BALL.faces, rms_mm=0.6, seed=1))
    normal = BALL.vertices / np.linalg.norm(BALL.vertices, axis=1)[:, None]
    right = BALL.vertices[:, 0] > 0
    # A ball has no plane of its own; its shift along x is the one motion that moves its skin.
    share = (found * normal[:, 0])[right].sum() / (normal[:, 0] ** 2)[right].sum()
    assert abs(share) < 0.02


def test_the_map_is_smooth_at_the_midline():
    bend = warped(BALL.vertices, BALL.faces, rms_mm=1.0, seed=2)
    near = np.array([[x, 60.0, 20.0] for x in (-1e-3, 0.0, 1e-3)])
    assert np.abs(bend(near) - near).max() < 1e-6

import json

import numpy as np
import pytest

from mirrorprep.condition.smooth import smooth
from mirrorprep.errors import UsageError
from mirrorprep.solid.certify import certify
from mirrorprep.solid.primitives import box, sphere


def noisy_ball(sd=0.05):
    ball = sphere(30.0, segments=120).mesh
    shift = np.random.default_rng(0).normal(0, sd, len(ball.vertices))
    return ball, ball.with_geometry(ball.vertices * (1 + shift / 30.0)[:, None])


def test_noise_goes_down_and_volume_and_size_stay():
    ball, noisy = noisy_ball()
    result = smooth(noisy, most_mm=0.2)
    assert result.noise_before_mm == pytest.approx(0.05, rel=0.15)
    assert result.noise_after_mm < 0.5 * result.noise_before_mm
    assert result.solid.volume_mm3 == pytest.approx(certify(ball).volume_mm3, rel=1e-3)
    assert abs(result.volume_change_mm3) < 1e-3 * result.solid.volume_mm3
    assert 0 < result.rms_displacement_mm < result.max_displacement_mm <= 0.2
    json.dumps(result.as_dict())


def test_the_allowed_movement_is_kept_and_open_edges_stay():
    _, noisy = noisy_ball(0.3)
    opened = noisy.with_geometry(noisy.vertices, noisy.faces[50:])
    result = smooth(opened, most_mm=0.05)
    assert result.max_displacement_mm <= 0.05
    assert result.solid is None
    assert result.volume_change_mm3 is None


def test_a_box_keeps_its_edges():
    part = box([20, 30, 40])
    result = smooth(part, most_mm=1.0)
    np.testing.assert_allclose(result.mesh.vertices, part.mesh.vertices, atol=0.02)


def test_crossings_that_smoothing_would_make_are_avoided():
    # Two walls 0.02 apart with noise larger than the gap's half cannot be evened out freely.
    from mirrorprep.geometry.self_intersection import meeting_pairs

    ball = sphere(30.0, segments=80)
    shell = (ball - sphere(29.98, segments=80)).mesh
    shift = np.random.default_rng(1).normal(0, 0.002, len(shell.vertices))
    noisy = shell.with_geometry(shell.vertices * (1 + shift / 30.0)[:, None])
    assert len(meeting_pairs(noisy.vertices, noisy.faces).all) == 0
    result = smooth(noisy, most_mm=0.5)
    assert len(meeting_pairs(result.mesh.vertices, result.mesh.faces).all) == 0


@pytest.mark.parametrize("wrong", [{"most_mm": 0.0}, {"most_mm": 1.0, "edge_angle_deg": 0.0}])
def test_impossible_requests_are_named(wrong):
    with pytest.raises(UsageError):
        smooth(box([1, 1, 1]), **wrong)

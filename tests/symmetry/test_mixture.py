"""Expectation-maximisation against simulated mixtures."""

import numpy as np
import pytest

from mirrorprep.symmetry.mixture import REACH, Mixture


@pytest.mark.parametrize(("stray", "width"), [(0.1, 1e-3), (0.5, 4e-3), (0.7, 2e-4)])
def test_share_and_width_are_recovered(stray, width):
    rng = np.random.default_rng(0)
    n = 20_000
    follower = rng.random(n) >= stray
    residual = np.where(follower, np.abs(rng.normal(scale=width, size=n)), rng.uniform(0, REACH, size=n))
    residual[residual > REACH] = np.inf
    mixture = Mixture.start(1)
    for _ in range(60):
        member = mixture.membership(residual[None])
        mixture = mixture.updated(residual[None], member, np.ones((1, n)), finest=1e-5)
    assert mixture.stray[0] == pytest.approx(stray, abs=0.02)
    assert mixture.width[0] == pytest.approx(width, rel=0.05)


def test_what_has_no_counterpart_is_a_stray():
    mixture = Mixture.start(1, stray=0.2)
    assert mixture.membership(np.array([[np.inf, 0.0]])).tolist()[0][0] == 0.0


def test_bounds_hold_with_no_follower_and_with_none_else():
    residual = np.array([[np.inf, np.inf], [0.0, 0.0]])
    mixture = Mixture.start(2)
    for _ in range(10):
        mixture = mixture.updated(residual, mixture.membership(residual), np.ones((2, 2)), finest=1e-5)
    assert mixture.stray.tolist() == pytest.approx([0.999, 0.02], abs=0.02)
    assert (mixture.width >= 1e-5).all()

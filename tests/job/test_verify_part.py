"""Undercuts of a handover, measured again from its casting."""

import math

import pytest

from mirrorprep.job.verify_part import undercut_check
from mirrorprep.solid.primitives import frustum, sphere

R, C, Q = 10.0, 12.0, 3.0
TRAPPED = 2 * math.pi * C * (R**2 - Q**2) - 4 * math.pi / 3 * (R**2 - Q**2) ** 1.5
"""Two balls joined by a rod, pulled along it: closed form, by integrating the gap between the balls."""


@pytest.fixture(scope="module")
def dumbbell():
    balls = [sphere(R, center_mm=[0, 0, z], segments=192) for z in (-C, C)]
    rod = frustum([0, 0, -C], [0, 0, C], start_radius_mm=Q, stop_radius_mm=Q, segments=96)
    return balls[0] + balls[1] + rod


@pytest.mark.parametrize(
    ("stated", "holds"), [(TRAPPED, True), (1.5 * TRAPPED, True), (0.9 * TRAPPED, False), (None, False)]
)
def test_less_than_any_parting_traps_is_found(dumbbell, stated, holds):
    figures = [{"label": "Trapped by rigid halves", "value": stated}]
    check = undercut_check(dumbbell, [0, 0, 1], {"sections": [{"title": "Mould", "figures": figures}]})
    assert check.holds is holds

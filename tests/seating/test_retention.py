"""Retention holes and posts: number, volume and direction."""

import numpy as np
import pytest

from mirrorprep.seating.retention import with_retention
from mirrorprep.seating.settings import Retention
from mirrorprep.solid.primitives import box, sphere

PLATE = box([40, 30, 8], center_mm=[0, 0, 4])
UP = (0.0, 0.0, 1.0)


def inscribed_mm2(diameter):
    """Area of the 48-gon inscribed in a circle: n/2 · r² sin(2π/n)."""
    return 24.0 * (diameter / 2.0) ** 2 * np.sin(2.0 * np.pi / 48.0)


def test_nothing_asked_nothing_done():
    assert with_retention(PLATE, UP, Retention()) == (PLATE, ())


def test_holes_have_their_volume_and_leave_a_floor():
    told = Retention(kind="holes", count=4, diameter_mm=5.0, length_mm=6.0)
    part, findings = with_retention(PLATE, UP, told)
    assert findings == ()
    assert PLATE.volume_mm3 - part.volume_mm3 == pytest.approx(4 * 6.0 * inscribed_mm2(5.0), rel=1e-6)
    assert part.bounds_mm.tolist() == PLATE.bounds_mm.tolist()


def test_posts_stand_out_of_the_back():
    told = Retention(kind="posts", count=3, diameter_mm=4.0, length_mm=2.5)
    part, _ = with_retention(PLATE, UP, told)
    assert part.volume_mm3 - PLATE.volume_mm3 == pytest.approx(3 * 2.5 * inscribed_mm2(4.0), rel=1e-6)
    assert part.bounds_mm[0, 2] == pytest.approx(-2.5)


def test_direction_is_followed():
    turn = np.array([[0.0, 0, 1, 0], [1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 0, 1]])
    part, _ = with_retention(PLATE.transformed(turn), turn[:3, 2], Retention(kind="posts", count=2))
    assert part.bounds_mm[0, 0] == pytest.approx(-3.0)


def test_too_many_or_too_thick():
    part, findings = with_retention(PLATE, UP, Retention(kind="holes", count=24, diameter_mm=8.0))
    assert [finding.code for finding in findings] == ["retention-short"]
    assert 0 < findings[0].measured < 24
    assert part.volume_mm3 < PLATE.volume_mm3
    ball = sphere(3.0)
    same, findings = with_retention(ball, UP, Retention(kind="holes", diameter_mm=5.0, length_mm=5.5))
    assert same is ball
    assert findings[0].measured == 0.0

import pytest

from mirrorprep.condition.deviation import deviation_between
from mirrorprep.solid.primitives import box, sphere


def test_concentric_balls_lie_their_difference_apart():
    far = deviation_between(sphere(10.0, segments=120).mesh, sphere(10.5, segments=120).mesh)
    assert far.max_mm == pytest.approx(0.5, abs=0.01)
    assert far.rms_mm == pytest.approx(0.5, abs=0.01)


def test_both_directions_count():
    small, large = box([2, 2, 2]).mesh, (box([2, 2, 2]) + box([1, 1, 1], center_mm=[0, 0, 1.4])).mesh
    one, other = deviation_between(small, large), deviation_between(large, small)
    assert one.max_mm == other.max_mm == pytest.approx(0.9)
    assert one.points == other.points


def test_a_surface_lies_on_itself():
    ball = sphere(10.0).mesh
    assert deviation_between(ball, ball).max_mm < 1e-12

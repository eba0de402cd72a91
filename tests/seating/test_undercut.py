"""Undercuts toward the seating direction against closed forms."""

import numpy as np
import pytest

from mirrorprep.seating.undercut import seat_undercut
from mirrorprep.solid.primitives import box, frustum, sphere


def test_flat_ground_lets_go():
    ground = box([60, 60, 10], center_mm=[0, 0, -5])
    found = seat_undercut(box([10, 10, 4], center_mm=[0, 0, 2]), ground, [0, 0, 5])
    assert (found.volume_mm3, found.largest_mm, found.where_mm) == (0.0, 0.0, None)
    assert found.direction.tolist() == [0.0, 0.0, 1.0]
    assert (found.depth_mm == 0.0).all()


def test_a_lip_over_the_part_is_in_the_way():
    # A lip of 5 × 20 × 3 mm hangs over a tongue of the part; beyond the lip the part rises freely.
    ground = box([60, 60, 10], center_mm=[0, 0, -5]) + box([20, 20, 8], center_mm=[25, 0, 4])
    ground += box([5, 20, 3], center_mm=[12.5, 0, 6.5])
    part = box([25, 20, 5], center_mm=[2.5, 0, 2.5]) + box([15, 20, 10], center_mm=[-2.5, 0, 5])
    found = seat_undercut(part, ground, [0, 0, 1])
    assert found.volume_mm3 == pytest.approx(5 * 20 * 3, rel=0.05)
    assert found.largest_mm == pytest.approx(3.0, abs=1e-6)
    assert found.depth_mm.max() == pytest.approx(3.0, abs=1e-6)
    assert 10.0 < found.where_mm[0] < 15.0
    assert seat_undercut(part, ground, [-1, 0, 0]).volume_mm3 == 0.0


def test_what_hangs_far_above_is_not_counted():
    ground = box([60, 60, 10], center_mm=[0, 0, -5])
    part = box([10, 10, 4], center_mm=[0, 0, 2])
    for height, counted in ((6.0, False), (1.0, True)):
        roof = box([60, 60, 2], center_mm=[0, 0, 5.0 + height])
        found = seat_undercut(part, ground + roof, [0, 0, 1])
        assert (found.volume_mm3 > 0.0) == counted


@pytest.mark.parametrize("axis", [[0, 0, 1.0], [1.0, 2, -0.5], [-1, 0.2, 0.3]])
def test_a_ball_in_a_socket(axis):
    # A ball sunk into a block up to h over its centre. In the way is the block over the ball's upper side
    # between the section at h and the equator: ∫ 2πr (h − z(r)) dr for r from √(R²−h²) to R.
    radius, height = 10.0, 5.0
    axis = np.array(axis) / np.linalg.norm(axis)
    ball = sphere(radius, segments=200)
    block = frustum(-30 * axis, height * axis, start_radius_mm=25.0, stop_radius_mm=25.0) - ball
    found = seat_undercut(ball, block, axis)
    inner = np.sqrt(radius**2 - height**2)
    # ∫ 2πr (h − √(R²−r²)) dr = π h (R² − r₀²) − (2π/3) (R² − r₀²)^{3/2}
    exact = np.pi * height * (radius**2 - inner**2) - 2 * np.pi / 3 * (radius**2 - inner**2) ** 1.5
    assert found.volume_mm3 == pytest.approx(exact, rel=0.03)
    assert found.largest_mm == pytest.approx(height, abs=0.5)
    assert abs(np.linalg.norm(np.cross(found.where_mm, axis)) - radius) < 0.5

"""Wall thickness against bodies whose walls are known."""

import numpy as np
import pytest

from mirrorprep.measurement.wall_thickness import wall_thickness
from mirrorprep.solid.primitives import box, frustum, sphere


@pytest.mark.parametrize(
    ("part", "wall_mm", "tolerance_mm"),
    [
        (lambda: box([40, 40, 2]), 2.0, 0.001),
        (lambda: box([20, 30, 40]), 20.0, 0.01),
        (lambda: sphere(10, segments=128) - sphere(8.5, segments=128), 1.5, 0.02),
        (lambda: frustum([0, 0, 0], [0, 0, 30], start_radius_mm=5, stop_radius_mm=5), 10.0, 0.05),
    ],
    ids=["plate", "brick", "hollow ball", "rod"],
)
def test_known_walls(part, wall_mm, tolerance_mm):
    assert wall_thickness(part(), count=8000).smallest_mm == pytest.approx(wall_mm, abs=tolerance_mm)


def test_thin_spot_is_found_where_it_is():
    """A 20 mm cube with a pocket that leaves 1.2 mm of floor."""
    pocketed = box([20, 20, 20]) - box([8, 8, 18.8], center_mm=[3, 0, 0.6])
    walls = wall_thickness(pocketed)
    assert walls.smallest_mm == pytest.approx(1.2, abs=0.01)
    assert np.all(np.abs(walls.thinnest_at_mm - [3, 0, -9.4]) <= [4.1, 4.1, 0.7])


def test_same_seed_same_answer():
    part = box([5, 6, 7])
    first, second = wall_thickness(part, count=500), wall_thickness(part, count=500)
    assert np.array_equal(first.thickness_mm, second.thickness_mm, equal_nan=True)

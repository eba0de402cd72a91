"""The least wall of a material: fed parts that are too thin, and parts that are not."""

import numpy as np
import pytest

from mirrorprep.errors import UsageError
from mirrorprep.measurement.least_wall import LEAST_WALLS_MM, least_wall_mm, thin_share, thin_walls
from mirrorprep.measurement.measure import measure
from mirrorprep.measurement.wall_thickness import wall_thickness
from mirrorprep.pour.materials import GENERIC
from mirrorprep.solid.primitives import box


def test_every_generic_material_has_its_own_least_wall():
    assert {material.name for material in GENERIC} == set(LEAST_WALLS_MM)


def test_other_names_take_that_of_flexible_or_rigid_ones():
    assert least_wall_mm("own mix", flexible=True) < least_wall_mm("own mix", flexible=False)
    assert least_wall_mm("Gypsum Stone", flexible=False) == 4.0


def test_a_thin_floor_is_found_where_it_is_and_its_share_told():
    # A 20 mm cube with a pocket of 8 × 8 mm that leaves a floor of 1.2 mm: both faces of the floor are thin,
    # 2 × 64 of the 6 × 400 + 4 × 8 × 18.8 mm² of surface (closed form), and a little around its border.
    pocketed = box([20, 20, 20]) - box([8, 8, 18.8], center_mm=[3, 0, 0.6])
    walls = wall_thickness(pocketed, count=40_000)
    assert thin_share(walls, 1.5) == pytest.approx(128.0 / (2400.0 + 4 * 8 * 18.8), rel=0.2)
    (found,) = thin_walls(walls, 1.5)
    assert (found.code, found.limit) == ("wall-thin", 1.5)
    assert found.measured == pytest.approx(1.2, abs=0.01)
    assert "common practice" in found.message
    assert np.all(np.abs(np.array(found.where[0]) - [3, 0, -9.4]) <= [4.1, 4.1, 0.7])
    assert thin_walls(walls, 1.0) == ()


def test_a_wall_just_at_its_limit_is_not_called_thin():
    assert thin_walls(wall_thickness(box([40, 40, 2])), 2.0) == ()


def test_measure_reports_it():
    result = measure(box([40, 40, 2]), least_wall_mm=3.0)
    assert "wall-thin" in [finding.code for finding in result.findings]
    told = result.as_dict()
    assert told["least_wall_mm"] == 3.0
    # both broad faces, 2 × 40² of 3520 mm² (closed form)
    assert told["thin_share"] == pytest.approx(2 * 40**2 / 3520, rel=0.01)
    assert measure(box([40, 40, 2])).as_dict()["thin_share"] is None
    with pytest.raises(UsageError, match="least wall -1"):
        measure(box([40, 40, 2]), least_wall_mm=-1.0)

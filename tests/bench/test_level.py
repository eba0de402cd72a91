"""The rising level: worked by hand for a box and a bell, and against the level states of the air analysis."""

import numpy as np
import pytest

from mirrorprep.bench.level import level_data, liquid_mm3
from mirrorprep.geometry.air_pockets import level_states, trapped_air
from mirrorprep.solid.primitives import box


def figures(outlet, kind="sprue"):
    return {"kind": kind, "outlet_mm": outlet, "outlet_radius_mm": 2.0}


def test_a_box_fills_evenly():
    """20 × 20 × 10 mm³: the volume below a height is 400 mm² times the height."""
    mould = {"pour_up": [0, 0, 1], "runners": [figures([0, 0, 5])]}
    level = level_data(box([20, 20, 10]).mesh, mould)
    heights, volumes = np.array(level["heights_mm"]), np.array(level["volumes_mm3"])
    assert (heights[0], heights[-1]) == pytest.approx((-5.0, 5.0))
    assert volumes == pytest.approx(400.0 * (heights + 5.0), rel=0.02, abs=1e-6)
    assert level["pockets"] == []


def test_air_stays_under_a_second_summit_until_it_is_vented():
    """A stool: legs of 6 × 6 mm, the sprue on the longer; the shorter keeps 36 mm² × 17.5 mm = 630 mm³."""
    plate, tall = box([40, 20, 5]), box([6, 6, 30], center_mm=[-12, 0, 15])
    stool = (plate + tall + box([6, 6, 20], center_mm=[12, 0, 10])).mesh
    sprue, vent = figures([-12, 0, 30]), figures([12, 0, 20], "vent")
    level = level_data(stool, {"pour_up": [0, 0, 1], "runners": [sprue]})
    (pocket,) = level["pockets"]
    assert pocket["volume_mm3"] == pytest.approx(630.0, rel=0.03)
    assert (pocket["top_mm"], pocket["saddle_mm"]) == pytest.approx((20.0, 2.5), abs=0.01)
    assert not pocket["vented"]
    assert pocket["places"][0] == pytest.approx([12, 0, 20], abs=3.1)
    vented = level_data(stool, {"pour_up": [0, 0, 1], "runners": [vent, sprue]})
    assert vented["pockets"][0]["vented"]
    assert vented["trapped_mm3"] == pytest.approx(0.0, abs=1.0)
    assert vented["volumes_mm3"][-1] == pytest.approx(level["volumes_mm3"][-1] + 630.0, rel=0.01)


def test_volumes_are_those_of_the_level_states():
    part = (box([30, 20, 10]) + box([8, 8, 30], center_mm=[6, 2, 12])).mesh
    air = trapped_air(part.vertices, part.faces, up=(0.2, 0.1, 1.0))
    states = level_states(air, (0.1, 0.4, 0.7, 1.0))
    found = liquid_mm3(air, np.array([state.level_mm for state in states]))
    assert found == pytest.approx([state.liquid_mm3 for state in states], rel=1e-9)

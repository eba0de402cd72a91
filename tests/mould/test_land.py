from dataclasses import replace

import numpy as np
import pytest

from mirrorprep.geometry.height_field import HeightField
from mirrorprep.mould.frame import MouldFrame
from mirrorprep.mould.land import steep_land
from mirrorprep.mould.parting import find_parting
from mirrorprep.solid.primitives import sphere


@pytest.fixture(scope="module")
def frame():
    """A frame turned by 30°, whose surface is level left of u = 0 and climbs at 60° right of it."""
    parting = find_parting(sphere(10.0), pull_direction=[0, 0, 1], margin_mm=10.0)
    uv = np.array([[-30, -20], [0, -20], [20, -20], [-30, 20], [0, 20], [20, 20]], dtype=float)
    ramp = HeightField(
        nodes_uv=uv,
        height_mm=np.tan(np.radians(60.0)) * np.clip(uv[:, 0], 0.0, None),
        triangles=np.array([[0, 1, 4], [0, 4, 3], [1, 2, 5], [1, 5, 4]]),
    )
    up = np.array([0.5, np.sqrt(0.75)])
    return MouldFrame(parting=replace(parting, field=ramp), up_uv=up)


def test_steep_land_is_the_ramp(frame):
    # The ramp covers 20 by 40 mm; 59 and 61 degrees lie on either side of its angle.
    steep = steep_land(frame, 59.0)
    assert steep.area_mm2 == pytest.approx(800.0)
    assert steep_land(frame, 61.0).is_empty


def test_steep_land_stands_in_mould_coordinates(frame):
    steep = steep_land(frame, 45.0)
    # Near the foot of the ramp at either end: unturned, one pair of them would lie on the wrong side.
    places = np.array([[1.0, 18.0], [1.0, -18.0], [-1.0, 18.0], [-1.0, -18.0]]) @ frame.turn[:2, :2]
    assert steep.contains(places).tolist() == [True, True, False, False]
    assert frame.height_mm(places) == pytest.approx([np.sqrt(3.0), np.sqrt(3.0), 0.0, 0.0])

from dataclasses import replace

import numpy as np
import pytest

from mirrorprep.mould.layout import lay_out
from mirrorprep.mould.settings import MouldSettings
from mirrorprep.mould.walls import least_wall_mm
from mirrorprep.progress import SILENT
from mirrorprep.solid.primitives import box, sphere

BARE = MouldSettings(
    body="block",
    parting="plane",
    bolts="none",
    key_count=0,
    pry_slots=False,
    marks=False,
    cup_diameter_mm=0.0,
    pull_direction=(0, 0, 1),
    pour_up=(0, 1, 0),
)


@pytest.fixture(scope="module")
def block():
    return lay_out(sphere(15.0), BARE, progress=SILENT)


def straight(layout, u_mm, radius_mm=3.0):
    """The sprue as a straight channel at another place."""
    sprue = layout.runners[0]
    moved = replace(
        sprue,
        mouth_mm=(u_mm, sprue.mouth_mm[1], sprue.axis_w_mm),
        start_radius_mm=radius_mm,
        stop_radius_mm=radius_mm,
    )
    return replace(layout, runners=(moved,))


def test_channel_near_the_outside_is_the_thinnest_wall(block):
    side = float(block.outside.bounds_mm[1, 0])
    thin = straight(block, side - 5.0)
    # the corners of the 24-sided channel are turned by half a step, so that a facet faces the side
    assert least_wall_mm(thin) == pytest.approx(5.0 - 3.0 * np.cos(np.pi / 24), abs=1e-9)


def test_channel_near_a_bore_is_the_thinnest_wall(block):
    u, v, w = block.runners[0].outlet_mm
    bore = box([2.0, 2.0, 200.0], center_mm=[u + 3.0 + 1.5 + 1.0, v - 3.0, w])
    near = replace(straight(block, u), tools=(bore,))
    facet = 3.0 * np.cos(np.pi / 24)
    assert least_wall_mm(near) == pytest.approx(3.0 + 1.5 - facet, abs=1e-9)


def test_the_opening_at_the_top_is_no_wall(block):
    assert least_wall_mm(block) >= 3.0


def test_a_top_that_is_lower_by_rounding_is_no_thin_wall(block):
    # Seen on a seated ear: the outside ended 1e-12 mm below the opening, which left a sheet of space there.
    top = block.runners[0].stop_v_mm
    size, middle = np.ptp(block.outside.bounds_mm, axis=0), block.outside.bounds_mm.mean(axis=0)
    lower = box([*size[:1], size[1] - 1e-9, *size[2:]], center_mm=middle - [0.0, 0.5e-9, 0.0])
    assert 0.0 < top - lower.bounds_mm[1, 1] < 1e-8
    assert least_wall_mm(replace(block, outside=lower)) == pytest.approx(least_wall_mm(block), abs=1e-5)


def test_channel_that_reaches_the_side_has_none(block):
    side = float(block.outside.bounds_mm[1, 0])
    assert least_wall_mm(straight(block, side - 2.0)) == 0.0

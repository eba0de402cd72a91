from dataclasses import replace

import numpy as np
import pytest

from mirrorprep.mould.layout import lay_out
from mirrorprep.mould.register_keys import RegisterKey
from mirrorprep.mould.settings import MouldSettings
from mirrorprep.mould.walls import least_wall_mm, thinnest_place_mm, wall_findings
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


@pytest.mark.parametrize("shift", [-28.27, -20.13, -8.66])
def test_a_box_that_rounds_over_the_top_leaves_no_thin_wall(block, shift):
    # At these heights the box around the outside ends above the top by the last bit, unless it is kept lower.
    sprue = block.runners[0]
    u, v, w = sprue.mouth_mm
    raised = replace(
        sprue,
        mouth_mm=(u, v + shift, w),
        start_v_mm=sprue.start_v_mm + shift,
        stop_v_mm=sprue.stop_v_mm + shift,
    )
    moved = replace(
        block,
        outside=block.outside.translated([0.0, shift, 0.0]),
        cavity=block.cavity.translated([0.0, shift, 0.0]),
        runners=(raised,),
    )
    assert least_wall_mm(moved) == pytest.approx(least_wall_mm(block), abs=1e-5)


def test_channel_that_reaches_the_side_has_none(block):
    side = float(block.outside.bounds_mm[1, 0])
    assert least_wall_mm(straight(block, side - 2.0)) == 0.0


def place_of(layout):
    """Where the thinnest wall is said to be, in mould coordinates."""
    return layout.frame.points_to_mould(thinnest_place_mm(layout, least_wall_mm(layout)))


def test_the_thinnest_wall_has_a_place(block):
    side = float(block.outside.bounds_mm[1, 0])
    u, v, _ = place_of(straight(block, side - 5.0))
    assert u == pytest.approx(side - 2.0, abs=0.6)
    assert v > block.cavity.bounds_mm[0, 1]
    u, v, w = block.runners[0].outlet_mm
    bore = box([2.0, 2.0, 200.0], center_mm=[u + 5.5, v - 3.0, w])
    at = place_of(replace(straight(block, u), tools=(bore,)))
    assert at[:2] == pytest.approx([u + 3.0, v - 3.0], abs=1.5)
    # A bore beside the cavity, far from the channels.
    low = replace(block, tools=(box([2.0, 2.0, 200.0], center_mm=[16.5, 0.0, 0.0]),))
    assert least_wall_mm(low) == pytest.approx(0.5, abs=1e-6)
    assert place_of(low) == pytest.approx([15.0, 0.0, 0.0], abs=0.6)


@pytest.mark.parametrize("body", ["shell", "block", "cylinder"])
def test_the_wall_around_the_cavity_has_a_place(body):
    chosen = replace(BARE, body=body, flange_width_mm=6.0)
    layout = lay_out(box([30, 20, 10]), replace(chosen, sprue_diameter_mm=2.0), progress=SILENT)
    at = layout.frame.points_to_mould(thinnest_place_mm(layout, -1.0))
    gap = np.abs(at) - np.array([15.0, 10.0, 5.0])
    assert np.linalg.norm(np.maximum(gap, 0.0)) == pytest.approx(6.0 if body == "shell" else 0.0, abs=0.4)


def test_a_socket_near_the_outside_is_the_thinnest_wall(block):
    side = float(block.outside.bounds_mm[1, 0])
    key = RegisterKey(center_mm=(side - 4.0, 0.0, 0.0), radius_mm=3.0, height_mm=3.0, root_mm=1.0, gap_mm=0.3)
    near = replace(block, keys=(key,))
    taper = np.tan(np.radians(15.0))
    # widest at its root, 1 mm below the surface
    assert least_wall_mm(near) == pytest.approx(4.0 - 3.3 - taper, abs=0.02)
    assert place_of(near)[0] == pytest.approx(side - 0.5, abs=0.7)


def test_thin_wall_finding_says_where(block):
    near = replace(block, tools=(box([2.0, 2.0, 200.0], center_mm=[16.5, 0.0, 0.0]),))
    (found,) = wall_findings(near, least_wall_mm(near))
    assert found.code == "thin-wall"
    back = near.frame.points_to_mould(found.where[0])
    assert back == pytest.approx([15.0, 0.0, 0.0], abs=0.6)

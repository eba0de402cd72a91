import math

import numpy as np
import pytest

from mirrorprep.errors import UsageError
from mirrorprep.mould.hardware import (
    CLEARANCE_HOLE_MM,
    NUT_MM,
    POCKET_CLEARANCE_MM,
    SCREW_HEAD_MM,
    bolt_size,
    bolt_tools,
    nut_boss,
    pry_places,
    pry_tool,
    screw_length_mm,
)
from mirrorprep.solid.primitives import box, frustum, prism
from mirrorprep.solid.section import level_section, rectangle


@pytest.mark.parametrize(
    ("name", "fine", "medium", "coarse"),
    [
        ("M2", 2.2, 2.4, 2.6),
        ("M2.5", 2.7, 2.9, 3.1),
        ("M3", 3.2, 3.4, 3.6),
        ("M4", 4.3, 4.5, 4.8),
        ("M5", 5.3, 5.5, 5.8),
        ("M6", 6.4, 6.6, 7.0),
        ("M8", 8.4, 9.0, 10.0),
        ("M10", 10.5, 11.0, 12.0),
        ("M12", 13.0, 13.5, 14.5),
    ],
)
def test_clearance_holes_are_those_of_iso_273(name, fine, medium, coarse):
    assert CLEARANCE_HOLE_MM[name] == (fine, medium, coarse)
    assert bolt_size(name).bore_mm == medium


# ISO 4032: width across flats, greatest height, least width across corners; then s/cos 30°.
NUTS = {
    "M2": (4.0, 1.6, 4.32, 4.619),
    "M2.5": (5.0, 2.0, 5.45, 5.774),
    "M3": (5.5, 2.4, 6.01, 6.351),
    "M4": (7.0, 3.2, 7.66, 8.083),
    "M5": (8.0, 4.7, 8.79, 9.238),
    "M6": (10.0, 5.2, 11.05, 11.547),
    "M8": (13.0, 6.8, 14.38, 15.011),
    "M10": (16.0, 8.4, 17.77, 18.475),
    "M12": (18.0, 10.8, 20.03, 20.785),
}


@pytest.mark.parametrize("name", NUTS)
def test_nuts_are_those_of_iso_4032(name):
    flats, height, least_corners, corners = NUTS[name]
    size = bolt_size(name)
    assert NUT_MM[name] == (flats, height)
    assert size.nut_corners_mm == pytest.approx(corners, abs=5e-4)
    assert size.nut_corners_mm > least_corners


# ISO 4762: greatest knurled head diameter; the head is as high as the thread is wide.
@pytest.mark.parametrize(
    ("name", "head"),
    [("M2", 3.98), ("M3", 5.68), ("M4", 7.22), ("M5", 8.72), ("M6", 10.22), ("M8", 13.27), ("M12", 18.27)],
)
def test_heads_are_those_of_iso_4762(name, head):
    assert SCREW_HEAD_MM[name] == (head, float(name[1:]))


def test_unknown_bolt_is_refused():
    with pytest.raises(UsageError, match="M7"):
        bolt_size("M7")


def test_screw_reaches_through_grip_and_nut():
    bolt = bolt_size("M4")
    assert screw_length_mm(bolt, 12.0) == 16.0
    assert screw_length_mm(bolt, 13.0) == 20.0
    assert screw_length_mm(bolt, 1000.0) == 1004.0


def test_bolt_tools_leave_room_for_nut_and_head():
    bolt = bolt_size("M4")
    tool = bolt_tools(bolt, (3.0, 2.0), nut_seat_mm=-6.0, head_seat_mm=6.0, span_mm=(-20.0, 20.0))
    corner = (bolt.nut_flats_mm + POCKET_CLEARANCE_MM) / 2 / math.cos(math.pi / 6)
    hexagon = 1.5 * math.sqrt(3.0) * corner**2 * 14.0  # closed form of a regular hexagon's area
    sides = 32 * math.tan(math.pi / 32)  # polygon around the circle, share of r²
    bore = sides * (bolt.bore_mm / 2) ** 2 * 12.0
    head = sides * ((bolt.head_mm + POCKET_CLEARANCE_MM) / 2) ** 2 * 14.0
    assert tool.volume_mm3 == pytest.approx(hexagon + bore + head, rel=1e-9)
    assert tool.bounds_mm[:, 0].tolist() == pytest.approx([3.0 - corner, 3.0 + corner])


# ISO 273 medium; ISO 4032 width across flats; ISO 4762 knurled head: as the check values state them.
TABLE = {
    "M2": (2.4, 4.0, 1.6, 3.98),
    "M2.5": (2.9, 5.0, 2.0, 4.68),
    "M3": (3.4, 5.5, 2.4, 5.68),
    "M4": (4.5, 7.0, 3.2, 7.22),
    "M5": (5.5, 8.0, 4.7, 8.72),
    "M6": (6.6, 10.0, 5.2, 10.22),
    "M8": (9.0, 13.0, 6.8, 13.27),
    "M10": (11.0, 16.0, 8.4, 16.27),
    "M12": (13.5, 18.0, 10.8, 18.27),
}


def width_mm(section, degrees):
    """Extent of the one loop of a hole along a direction."""
    (loop,) = section.loops
    way = np.array([math.cos(math.radians(degrees)), math.sin(math.radians(degrees))])
    return float(np.ptp(loop @ way))


@pytest.mark.parametrize("name", TABLE)
def test_holes_in_a_bored_plate_are_those_of_the_tables(name):
    hole, flats, nut_height, head = TABLE[name]
    bolt = bolt_size(name)
    plate = box([60, 60, 12]) + nut_boss(bolt, (0, 0), level_mm=0.0, nut_seat_mm=-6.0)
    tool = bolt_tools(bolt, (0, 0), nut_seat_mm=-6.0, head_seat_mm=4.0, span_mm=(-30.0, 30.0))
    bored = plate - tool
    # The narrowest way through the bore is the table's; so is the recess of the head, with clearance.
    around = np.arange(0.0, 180.0, 180.0 / 64)
    for level, diameter in ((0.0, hole), (5.0, head + POCKET_CLEARANCE_MM)):
        cut = level_section(plate, level) - level_section(bored, level)
        widths = [width_mm(cut, angle) for angle in around]
        assert min(widths) == pytest.approx(diameter, abs=1e-6)
        assert max(widths) < 1.006 * diameter
    pocket = level_section(plate, -7.0) - level_section(bored, -7.0)
    assert min(width_mm(pocket, 30.0 + 60.0 * k) for k in range(3)) == pytest.approx(
        flats + POCKET_CLEARANCE_MM, abs=1e-6
    )
    # A nut of the standard's greatest size goes in whole, a head too, a screw passes; a turned nut does not.
    nut = hexagon(flats / 2 / math.cos(math.pi / 6), nut_height)
    assert (nut & bored).volume_mm3 < 1e-6
    screw = frustum(
        [0, 0, -40], [0, 0, 40], start_radius_mm=float(name[1:]) / 2, stop_radius_mm=float(name[1:]) / 2
    )
    assert (screw & bored).volume_mm3 < 1e-6
    cap = frustum([0, 0, 4.0], [0, 0, 9.0], start_radius_mm=head / 2, stop_radius_mm=head / 2)
    assert (cap & bored).volume_mm3 < 1e-6
    turned = np.eye(4)
    turned[:2, :2] = [[math.cos(0.5), -math.sin(0.5)], [math.sin(0.5), math.cos(0.5)]]
    assert (nut.transformed(turned) & bored).volume_mm3 > 0.0
    # The boss surrounds the whole nut and is as deep as it.
    assert bored.bounds_mm[0, 2] == pytest.approx(-6.0 - nut_height)
    ring = level_section(bored, -6.0 - nut_height + 0.1)
    assert len(ring.loops) == 2
    assert (ring.offset(-0.6)).loops.__len__() == 2


def hexagon(corner_mm, height_mm):
    angle = np.radians(60.0 * np.arange(6))
    return prism(corner_mm * np.column_stack([np.cos(angle), np.sin(angle)]), -6.0 - height_mm, -6.0)


def test_bores_narrower_than_the_table_would_be_found():
    plate = box([60, 60, 12])
    drilled = plate - frustum([0, 0, -9], [0, 0, 9], start_radius_mm=2.25, stop_radius_mm=2.25, segments=32)
    cut = level_section(plate, 0.0) - level_section(drilled, 0.0)
    assert min(width_mm(cut, angle) for angle in np.arange(0.0, 180.0, 180.0 / 64)) < 4.5 - 0.01


@pytest.mark.parametrize(("u", "outer"), [(40.0, 55.0), (-40.0, -55.0)])
def test_slot_is_open_to_its_side(u, outer):
    tool = pry_tool((u, 3.0), 1.0, depth_mm=4.0, outer_u_mm=outer)
    low, high = tool.bounds_mm
    assert sorted((low[0], high[0])) == sorted((outer, math.copysign(36.0, u)))
    assert (low[1], high[1]) == (-2.0, 8.0)
    assert high[2] - low[2] == pytest.approx(2.4)


def test_slots_keep_off_the_cavity():
    # A vent stands near the left edge at half height: the slot there moves along the edge.
    plan, depth = rectangle([0.0, 0.0], [60.0, 100.0]), 4.0
    vent = rectangle([3.0, 40.0], [7.0, 100.0])
    left, right = pry_places(plan, [], depth_mm=depth, keep_off=vent)
    assert right == pytest.approx([60.0, 50.0], abs=3.0)
    assert left[0] == pytest.approx(0.0)
    tool = pry_tool(left, 0.0, depth_mm=depth, outer_u_mm=-9.0)
    assert (tool & vent.extruded(-5.0, 5.0)).is_empty
    assert len(pry_places(plan, [], depth_mm=depth, keep_off=rectangle([3.0, 0.0], [7.0, 100.0]))) == 1

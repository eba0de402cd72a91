import math

import pytest

from mirrorprep.errors import UsageError
from mirrorprep.mould.hardware import (
    CLEARANCE_HOLE_MM,
    NUT_MM,
    POCKET_CLEARANCE_MM,
    SCREW_HEAD_MM,
    bolt_size,
    bolt_tools,
    screw_length_mm,
)


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
    sides = 32 / 2 * math.sin(2 * math.pi / 32)  # inscribed polygon's share of r²
    bore = sides * (bolt.bore_mm / 2) ** 2 * 12.0
    head = sides * ((bolt.head_mm + POCKET_CLEARANCE_MM) / 2) ** 2 * 14.0
    assert tool.volume_mm3 == pytest.approx(hexagon + bore + head, rel=1e-9)
    assert tool.bounds_mm[:, 0].tolist() == pytest.approx([3.0 - corner, 3.0 + corner])

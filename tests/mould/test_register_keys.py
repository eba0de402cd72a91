import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mirrorprep.mould.build import build_mould
from mirrorprep.mould.register_keys import (
    LARGE_KEY,
    RegisterKey,
    key_places,
    large_radius_mm,
    spread_places,
    wrong_closing_mm,
)
from mirrorprep.mould.settings import MouldSettings
from mirrorprep.solid.primitives import box, sphere
from mirrorprep.solid.section import disc, rectangle
from mirrorprep.solid.solid import union

PLATE = rectangle([0, 0], [100, 60]) - rectangle([25, 20], [75, 40])


def test_places_are_far_apart_and_inside():
    places = np.array(spread_places(PLATE.offset(-5.0), 4, apart_mm=10.0))
    assert len(places) == 4
    assert PLATE.contains(places).all()
    # The four corners of the shrunk plate are the best places there are: 90 and 50 mm apart.
    gaps = np.linalg.norm(places[:, None] - places[None], axis=2)[np.triu_indices(4, 1)]
    assert gaps.min() > 0.9 * 50.0


def test_no_room_means_fewer_places():
    assert spread_places(disc((0, 0), 5.0), 4, apart_mm=20.0).__len__() == 1
    assert spread_places(disc((0, 0), 5.0).offset(-6.0), 4, apart_mm=1.0) == []


def test_taken_places_are_kept_clear():
    taken = [np.array([5.0, 5.0]), np.array([95.0, 55.0])]
    places = np.array(spread_places(PLATE.offset(-5.0), 3, taken=taken, apart_mm=15.0))
    assert len(places) == 3
    assert np.linalg.norm(places[:, None] - np.array(taken)[None], axis=2).min() >= 15.0


def test_walls_around_keys():
    chosen = MouldSettings(key_diameter_mm=6.0)
    centers, radii = key_places(PLATE, chosen)
    assert radii == pytest.approx([large_radius_mm(chosen), 3.0, 3.0, 3.0])
    assert radii[0] >= 3.0 * LARGE_KEY
    for center, radius in zip(centers, radii, strict=True):
        around = disc(center, radius + chosen.key_gap_mm + 1.0)
        assert (around - PLATE).area_mm2 < 1e-9


def test_never_a_single_key():
    assert key_places(disc((0, 0), 8.0), MouldSettings()) == ([], [])
    assert key_places(PLATE, MouldSettings(key_count=0)) == ([], [])


@pytest.fixture(scope="module")
def mould():
    return build_mould(
        sphere(18.0), settings=MouldSettings(body="block", pull_direction=(0, 0, 1), bolts="none")
    )


def test_gap_is_that_of_the_print_process(mould):
    # FFF 0.35–0.4 sliding, SLA 0.15–0.3 (trade pages).
    assert MouldSettings().key_gap_mm == 0.35
    assert MouldSettings(process="sla").key_gap_mm == 0.2
    assert MouldSettings(key_clearance_mm=0.5).key_gap_mm == 0.5
    for key in mould.keys:
        ring = key.female - key.male
        assert ring.volume_mm3 > 0.0
        assert key.female.bounds_mm[1, 0] - key.male.bounds_mm[1, 0] == pytest.approx(0.35, abs=1e-9)


def test_halves_close_one_way_only(mould):
    # Turned by half a turn about the middle of the keys: the only closing that the outsides suggest.
    upper, lower = (half.solid for half in mould.halves)
    assert (upper & lower).volume_mm3 < 1e-6
    assert wrong_closing_mm(mould.keys) == pytest.approx(mould.keys[0].height_mm)
    middle = mould.frame.points_to_part(np.mean([key.center_mm for key in mould.keys], axis=0))
    turned = upper.transformed(_turn(mould.pull_direction, 180.0, middle))
    for lift in (0.0, 0.9 * mould.keys[0].height_mm):
        assert (turned.translated(lift * mould.pull_direction) & lower).volume_mm3 > 0.1


def keys_at(places, radii, gap=0.3):
    return [
        RegisterKey(center_mm=(u, v, 0.0), radius_mm=r, height_mm=3.0, root_mm=1.0, gap_mm=gap)
        for (u, v), r in zip(places, radii, strict=True)
    ]


def held_apart_mm(keys, degrees):
    """How far two plates with these keys stay apart when the upper one is turned, by booleans alone."""
    lower = box([80, 60, 10], center_mm=[0, 0, -5]) + union([key.male for key in keys])
    upper = box([80, 60, 10], center_mm=[0, 0, 5]) - union([key.female for key in keys])
    turned = upper.transformed(_turn(np.array([0.0, 0, 1]), degrees, np.zeros(3)))
    low, high = 0.0, 6.0
    if (turned.translated([0, 0, 1e-6]) & lower).volume_mm3 < 1e-6:
        return 0.0
    for _ in range(20):
        middle = (low + high) / 2.0
        free = (turned.translated([0, 0, middle]) & lower).volume_mm3 < 1e-6
        low, high = (low, middle) if free else (middle, high)
    return high


CORNERS = [(-30.0, -20.0), (30.0, -20.0), (30.0, 20.0), (-30.0, 20.0)]
CROOKED = [(-30.0, -20.0), (30.0, -20.0), (30.0, 14.0), (-30.0, 20.0)]


@pytest.mark.parametrize(
    ("places", "radii", "apart"),
    [
        (CORNERS, [3.0] * 4, 0.0),  # equal keys at the corners of a rectangle: the fault
        (CORNERS, [4.2, 3.0, 3.0, 3.0], 3.0),
        (CORNERS, [3.6, 3.0, 3.0, 3.0], 0.3 / np.tan(np.radians(15.0))),  # tapered walls touch on the way
        (CROOKED, [3.0] * 4, 3.0),
    ],
)
def test_keys_that_fit_turned_are_told_from_those_that_do_not(places, radii, apart):
    keys = keys_at(places, radii)
    assert wrong_closing_mm(keys) == pytest.approx(apart, abs=1e-9)
    assert held_apart_mm(keys, 180.0) == pytest.approx(apart, abs=0.03)
    assert held_apart_mm(keys, 0.0) == 0.0


def test_small_keys_about_a_large_one_in_the_middle_fit_two_ways():
    assert wrong_closing_mm(keys_at([(0, 0), (-20, 0), (20, 0)], [4.2, 3.0, 3.0])) == 0.0
    assert wrong_closing_mm(keys_at([(0, 0), (-20, 0), (25, 0)], [4.2, 3.0, 3.0])) == pytest.approx(3.0)
    assert wrong_closing_mm(keys_at([(0, 0)], [4.2])) == np.inf


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    diameter=st.floats(3.0, 60.0),
    gap=st.floats(0.0, 1.0),
    flange=st.floats(3.2, 100.0),
    square=st.floats(5.0, 50.0),
)
def test_any_keys_that_settings_allow_close_one_way_only(diameter, gap, flange, square):
    chosen = MouldSettings(key_diameter_mm=diameter, key_clearance_mm=gap, flange_thickness_mm=flange)
    reach = diameter + square
    places = reach * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])  # the most symmetric places there are
    keys = [
        RegisterKey(
            center_mm=(*place, 0.0),
            radius_mm=radius,
            height_mm=chosen.key_height_mm,
            root_mm=1.0,
            gap_mm=chosen.key_gap_mm,
        )
        for place, radius in zip(places, [large_radius_mm(chosen), *[diameter / 2.0] * 3], strict=True)
    ]
    assert wrong_closing_mm(keys) == pytest.approx(chosen.key_height_mm, abs=1e-9)


def _turn(axis, degrees, center):
    from scipy.spatial.transform import Rotation

    matrix = np.eye(4)
    matrix[:3, :3] = Rotation.from_rotvec(np.radians(degrees) * axis).as_matrix()
    matrix[:3, 3] = center - matrix[:3, :3] @ center
    return matrix

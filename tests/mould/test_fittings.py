from types import SimpleNamespace

import numpy as np
import pytest

from mirrorprep.mould.fittings import Places, at_faces, bolt_cuts, bosses, level_pads, slot_cuts
from mirrorprep.mould.hardware import bolt_size
from mirrorprep.mould.settings import MouldSettings
from mirrorprep.solid.primitives import box, frustum

SLOPE = SimpleNamespace(turn=np.eye(3), height_mm=lambda uv: 0.5 * np.atleast_2d(uv)[:, 0])
PLACES = Places(
    bolts=[np.array([-20.0, 0.0]), np.array([20.0, 4.0])],
    keys=[np.array([0.0, 15.0])],
    key_radii_mm=[3.0],
    slots=[np.array([-30.0, 2.0]), np.array([30.0, 2.0])],
    slot_depth_mm=4.0,
)
BARE = Places(bolts=[], keys=[], key_radii_mm=[], slots=[], slot_depth_mm=4.0)


def test_what_is_lacking_is_counted():
    assert PLACES.lacking(MouldSettings()) == 3 + 2
    assert PLACES.lacking(MouldSettings(bolts="none", key_count=0, pry_slots=False)) <= 0
    assert BARE.lacking(MouldSettings()) == 10


def test_everything_stands_on_level_land():
    settings = MouldSettings()
    key, *bolts_and_slots = level_pads(PLACES, SLOPE, settings)
    assert key.half_width_mm > 3.0 + settings.key_gap_mm
    assert [pad.start_mm[:2].tolist() for pad in bolts_and_slots] == [
        place.tolist() for place in (*PLACES.bolts, *PLACES.slots)
    ]
    assert [pad.half_width_mm for pad in bolts_and_slots] == pytest.approx(
        [bolt_size("M4").reach_mm] * 2 + [np.hypot(4.0, 5.0)] * 2
    )
    assert level_pads(BARE, SLOPE, settings) == []


def test_bosses_and_bolts_follow_the_surface():
    settings = MouldSettings()
    made = bosses(PLACES, SLOPE, settings)
    assert [boss.bounds_mm[1, 2] for boss in made] == pytest.approx([-10.0, 10.0])
    assert [boss.bounds_mm[0, 2] for boss in made] == pytest.approx([-10 - 6 - 3.2, 10 - 6 - 3.2])
    outside = box([80, 60, 60])
    for cut, boss in zip(bolt_cuts(PLACES, outside, SLOPE, settings), made, strict=True):
        assert np.allclose(cut.bounds_mm[:, :2].mean(axis=0), boss.bounds_mm[:, :2].mean(axis=0))
        assert cut.bounds_mm[:, 2].tolist() == [-31.0, 31.0]
    assert bosses(BARE, SLOPE, settings) == bolt_cuts(BARE, outside, SLOPE, settings) == []


def test_slots_start_at_the_face_of_a_round_body():
    # At its height of 15 mm a cylinder of radius 40 is √(40² − 15²) = 37.1 mm wide to each side.
    round_body = frustum([0, -30, 0], [0, 30, 0], start_radius_mm=40, stop_radius_mm=40, segments=720)
    faced = at_faces(PLACES, round_body, SLOPE)
    assert [slot[1] for slot in faced.slots] == [2.0, 2.0]
    reach = np.sqrt(40.0**2 - (15.0 - 1.2) ** 2)  # the lower edge of the slot, where the body is widest
    assert [slot[0] for slot in faced.slots] == pytest.approx([-reach, reach], abs=0.02)
    for cut in slot_cuts(faced, round_body, SLOPE):
        assert np.abs(cut.bounds_mm[:, 0]).max() == pytest.approx(41.0, abs=0.01)
        assert np.abs(cut.bounds_mm[:, 0]).min() == pytest.approx(reach - 4.0, abs=0.02)

import numpy as np
import pytest

from mirrorprep.mould.assembly import assemble, finished
from mirrorprep.mould.frame import MouldFrame
from mirrorprep.mould.parting import find_parting
from mirrorprep.mould.register_keys import RegisterKey
from mirrorprep.solid.primitives import box, frustum, sphere
from mirrorprep.solid.rounding import welded_faults

KEY = RegisterKey(center_mm=(20.0, 20.0, 0.0), radius_mm=3.0, height_mm=3.0, root_mm=1.0, gap_mm=0.3)
RUNNER = frustum([0, 5, 0], [0, 31, 0], start_radius_mm=2, stop_radius_mm=3)


def assembled(part, *, keys=(), tools=()):
    parting = find_parting(part, pull_direction=[0, 0, 1], kind="plane", margin_mm=20.0)
    frame = MouldFrame(parting=parting, up_uv=np.array([0.0, 1.0]) @ parting.frame[:2, :2])
    outside = box([60, 60, 60])
    made = assemble(outside, frame.to_mould(part), frame, channels=[RUNNER], keys=keys, tools=tools)
    return made, outside, frame


def test_volumes_add_up_with_keys_and_tools():
    bore = frustum([-20, -20, -40], [-20, -20, 40], start_radius_mm=2, stop_radius_mm=2)
    part = sphere(12.0)
    made, outside, _ = assembled(part, keys=[KEY], tools=[bore])
    hollows = sum(hollow.volume_mm3 for hollow in made.hollows)
    total = made.half_a.volume_mm3 + made.half_b.volume_mm3 + made.casting.volume_mm3 + hollows
    assert total == pytest.approx(outside.volume_mm3, rel=1e-13)
    assert made.channels.volume_mm3 + part.volume_mm3 == pytest.approx(made.casting.volume_mm3, rel=1e-12)
    assert made.islands == ()


def test_key_stands_on_half_b_and_fits_half_a():
    made, _, frame = assembled(sphere(12.0), keys=[KEY])
    level = float(frame.height_mm([[20.0, 20.0]])[0])
    above = box([10, 10, 10], center_mm=[20, 20, level + 5.0])
    assert (made.half_b & above).volume_mm3 == pytest.approx((KEY.male & above).volume_mm3, rel=1e-9)
    assert (made.half_a & KEY.male).volume_mm3 < 1e-9


def test_island_is_joined_to_the_other_half():
    dish = sphere(14.0) - sphere(10.0) - box([40, 40, 20], center_mm=[0, 0, 18])
    made, outside, _ = assembled(dish)
    total = made.half_a.volume_mm3 + made.half_b.volume_mm3 + made.casting.volume_mm3
    assert total == pytest.approx(outside.volume_mm3, rel=1e-12)
    assert len(made.half_a.fragments()) == len(made.half_b.fragments()) == 1
    # The bowl's inside below the plane hangs on nothing of the lower half.
    assert [island.fate for island in made.islands] == ["half_a"]
    assert made.islands[0].of_half == "half_b"
    assert made.islands[0].volume_mm3 > 100.0


def test_enclosed_hollow_is_listed_as_loose():
    made, outside, _ = assembled(sphere(14.0) - sphere(8.0))
    loose = [island for island in made.islands if island.fate == "loose"]
    assert sum(island.volume_mm3 for island in loose) == pytest.approx(
        (sphere(8.0) - RUNNER).volume_mm3, rel=1e-9
    )
    total = made.half_a.volume_mm3 + made.half_b.volume_mm3 + made.casting.volume_mm3
    lost = sum(island.volume_mm3 for island in loose)
    assert total + lost == pytest.approx(outside.volume_mm3, rel=1e-12)


def test_finished_half_keeps_the_cavity_and_survives_rounding():
    from scipy.spatial import cKDTree

    part = sphere(12.0, segments=128)
    made, _, frame = assembled(part, keys=[KEY])
    half, moved = finished(made.half_a, frame.to_mould(part), frame.rotation)
    assert moved == 0
    assert welded_faults(half.mesh) == (0, 0)
    assert half.volume_mm3 == pytest.approx(made.half_a.volume_mm3, rel=1e-9)
    own = part.mesh.vertices[part.mesh.vertices[:, 2] > 3.0]
    own = own[np.hypot(own[:, 0], own[:, 2]) > 4.0]
    assert cKDTree(half.mesh.vertices).query(own)[0].max() < 1e-9

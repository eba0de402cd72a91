import numpy as np
import pytest

from mirrorprep.errors import UsageError
from mirrorprep.mould.channels import Channel, air_pockets, footprint, plan_channels, pour_up_uv
from mirrorprep.mould.frame import MouldFrame
from mirrorprep.mould.parting import find_parting
from mirrorprep.mould.settings import MouldSettings
from mirrorprep.solid.primitives import box, sphere
from mirrorprep.solid.solid import union


def upright(part, up=(0, 1, 0), **settings):
    """The frame of a part pulled along z and poured with y up, and the part in it."""
    parting = find_parting(part, pull_direction=[0, 0, 1], kind="plane", margin_mm=20.0)
    made = MouldSettings(pour_up=up, **settings)
    frame = MouldFrame(parting=parting, up_uv=pour_up_uv(part, parting.frame, made))
    return frame, frame.to_mould(part), made


@pytest.fixture(scope="module")
def towers():
    """Two towers on a plate, 25 and 15 mm tall, ø10: with the sprue on the taller, 1178 mm³ of air stay."""
    from mirrorprep.solid.primitives import frustum

    plate = box([50, 6, 20], center_mm=[0, -3, 0])
    tops = [(-15.0, 25.0), (15.0, 15.0)]
    return union(
        [plate]
        + [frustum([x, -1, 0], [x, h, 0], start_radius_mm=5, stop_radius_mm=5, segments=96) for x, h in tops]
    )


def test_frame_turns_up_into_v(towers):
    frame, cavity, _ = upright(towers)
    assert frame.rotation[:, 1] == pytest.approx([0, 1, 0], abs=1e-12)
    assert frame.rotation[:, 2] == pytest.approx([0, 0, 1], abs=1e-12)
    assert np.linalg.det(frame.rotation) == pytest.approx(1.0)
    points = towers.mesh.vertices
    assert frame.points_to_part(frame.points_to_mould(points)) == pytest.approx(points, abs=1e-12)
    assert frame.to_part(cavity).volume_mm3 == pytest.approx(towers.volume_mm3, rel=1e-12)


def test_every_pocket_gets_a_vent(towers):
    # Trapped volume of the shorter tower: π · 25 · 15 = 1178 mm³ (mould-geometry reference).
    frame, cavity, settings = upright(towers)
    bare = air_pockets(cavity, [])
    assert max(p.volume_mm3 for p in bare.unvented) == pytest.approx(np.pi * 25 * 15, rel=0.01)
    channels = plan_channels(cavity, frame, top_mm=45.0, settings=settings)
    assert [channel.kind for channel in channels] == ["sprue", "vent"]
    sprue, vent = channels
    assert sprue.mouth_mm[1] == pytest.approx(25.0)
    assert vent.mouth_mm[1] == pytest.approx(15.0)
    assert abs(abs(vent.mouth_mm[0]) - 15.0) < 5.0
    vented = air_pockets(cavity, [(c.gate_mm, c.start_radius_mm) for c in channels])
    assert all(pocket.volume_mm3 < 5.0 for pocket in vented.unvented)


def test_lone_summit_still_gets_a_vent_beside_the_sprue():
    frame, cavity, settings = upright(sphere(20.0))
    sprue, vent = plan_channels(cavity, frame, top_mm=45.0, settings=settings)
    assert abs(vent.mouth_mm[0] - sprue.mouth_mm[0]) > sprue.outlet_radius_mm
    assert abs(vent.mouth_mm[2] - frame.height_mm(vent.mouth_mm[:2])[0]) < 1.0


def test_sprue_stands_in_the_parting_surface_where_that_runs_as_high_as_anything():
    # The upper edge of a tilted box runs along the pull: its ends are as high as its middle.
    frame, cavity, settings = upright(box([40, 40, 60]), up=(0.1, 1.0, 0.0))
    sprue, vent = plan_channels(cavity, frame, top_mm=45.0, settings=settings)
    assert sprue.mouth_mm[1] == pytest.approx(cavity.bounds_mm[1, 1])
    for channel in (sprue, vent):
        assert channel.mouth_mm[2] == pytest.approx(channel.axis_w_mm, abs=1e-6)


def test_searched_direction_traps_least(towers):
    parting = find_parting(towers, pull_direction=[0, 0, 1], kind="plane", margin_mm=20.0)
    up = pour_up_uv(towers, parting.frame, MouldSettings())
    air = air_pockets(MouldFrame(parting=parting, up_uv=up).to_mould(towers), [])
    assert air.trapped_mm3 < 20.0


def test_pour_up_along_the_pull_is_refused(towers):
    with pytest.raises(UsageError, match="runs along the pull"):
        upright(towers, up=(0, 0, 1))


def stem(**changed):
    values = {
        "kind": "vent",
        "mouth_mm": (0.0, 0.0, 0.0),
        "axis_w_mm": 0.0,
        "start_v_mm": -1.0,
        "stop_v_mm": 20.0,
        "start_radius_mm": 2.0,
        "stop_radius_mm": 3.0,
    }
    return Channel(**{**values, **changed})


def test_channel_volume_is_that_of_a_frustum():
    # πh/3 (R² + Rr + r²), times the 24-gon's share of the circle.
    share = 24 / 2 * np.sin(2 * np.pi / 24) / np.pi
    wide = 3.0 + 1.0 / 21.0 * 0.0
    exact = share * np.pi * 22.0 / 3.0 * (4 + 2 * wide + wide**2)
    assert stem().solid.volume_mm3 == pytest.approx(exact, rel=1e-9)


@pytest.mark.parametrize("away", [0.0, 6.0, -6.0])
@pytest.mark.parametrize("cup", [0.0, 9.0])
def test_channels_release_along_the_pull(away, cup):
    # Halves of a block around the channel alone come off it without interference, fin and cup included.
    channel = stem(mouth_mm=(0.0, 0.0, away), cup_radius_mm=cup, cup_depth_mm=8.0 if cup else 0.0)
    body = channel.solid & box([40, 20, 40], center_mm=[0, 10, 0])
    upper, lower = (box([40, 20, 40], center_mm=[0, 10, 0]) - channel.solid).split_by_plane([0, 0, 1], 0.0)
    for step in (0.05, 0.5, 3.0, 12.0):
        assert (upper.translated([0, 0, step]) & body).volume_mm3 < 1e-9
        assert (lower.translated([0, 0, -step]) & body).volume_mm3 < 1e-9


def test_mouth_beside_the_surface_is_reached():
    channel = stem(mouth_mm=(0.0, 0.0, 6.0))
    probe = box([0.5, 0.5, 0.5], center_mm=[0.0, 0.0, 6.0])
    assert (channel.solid & probe).volume_mm3 == pytest.approx(probe.volume_mm3)


@pytest.mark.parametrize("away", [6.0, -30.0])  # farther off than the channel is long: its fin is cut level
def test_wall_encloses_the_channel(away):
    channel = stem(mouth_mm=(0.0, 0.0, away), cup_radius_mm=9.0, cup_depth_mm=8.0)
    below = box([99, 99, 99], center_mm=[0, 20 - 49.5, 0])
    assert ((channel.solid & below) - channel.wall(3.0)).volume_mm3 < 1e-9
    assert channel.wall(3.0).bounds_mm[1, 1] == pytest.approx(20.0)


def test_footprint_covers_the_shadow():
    from mirrorprep.solid.section import silhouette

    channel = stem(cup_radius_mm=9.0, cup_depth_mm=8.0)
    below = box([99, 99, 99], center_mm=[0, 20 - 49.5, 0])
    assert (silhouette(channel.solid & below) - footprint([channel])).area_mm2 < 0.05


def test_wall_reaches_below_the_end_of_the_channel():
    channel = stem()
    end = channel.start_v_mm - 2.0  # between the end of the channel and that of its wall
    slab = box([40, 0.5, 40], center_mm=[channel.mouth_mm[0], end, channel.axis_w_mm])
    assert (channel.wall(3.0) & slab).volume_mm3 > 1.0
    assert (channel.solid & slab).volume_mm3 == 0.0

from dataclasses import replace

import numpy as np
import pytest

from mirrorprep.errors import NoPartingError
from mirrorprep.mould.hardware import bolt_size
from mirrorprep.mould.layout import lay_out
from mirrorprep.mould.settings import MouldSettings
from mirrorprep.mould.walls import least_wall_mm, wall_findings
from mirrorprep.progress import SILENT, Progress
from mirrorprep.solid.finding import Severity
from mirrorprep.solid.gap import least_gap_mm
from mirrorprep.solid.primitives import box, frustum, sphere
from mirrorprep.solid.section import level_section, silhouette
from mirrorprep.solid.solid import union

PULL = {"pull_direction": (0, 0, 1), "pour_up": (0, 1, 0)}


def bent():
    """A bent bar: one bulge above and one below, so that no plane follows its outline."""
    balls = [sphere(9.0, center_mm=[x, 0.1 * x, 0.012 * x * abs(x)], segments=48) for x in range(-27, 28, 6)]
    return union(balls)


@pytest.fixture(scope="module", params=["shell", "block", "cylinder"])
def layout(request):
    chosen = MouldSettings(body=request.param, parting="contour", **PULL)
    return lay_out(bent(), chosen, progress=SILENT)


def test_contour_surface_follows_the_channels_and_lies_level_under_keys(layout):
    assert layout.frame.parting.kind == "contour"
    for channel in layout.runners:
        v = np.linspace(channel.mouth_mm[1] + 1.0, channel.stop_v_mm, 9)
        line = np.column_stack([np.full(9, channel.mouth_mm[0]), v])
        assert layout.frame.height_mm(line) == pytest.approx(channel.axis_w_mm, abs=0.15)
    for key in layout.keys:
        u, v, w = key.center_mm
        rim = np.array([[u + key.radius_mm, v], [u - key.radius_mm, v], [u, v + key.radius_mm]])
        assert layout.frame.height_mm(rim) == pytest.approx(w, abs=0.3)


def test_everything_asked_for_found_its_place(layout):
    assert len(layout.keys) == 4
    assert len(layout.bolts_uv) == 4
    assert layout.runners[0].kind == "sprue"
    assert len(layout.runners) >= 2
    assert len(layout.outside.fragments()) == 1


def test_keys_and_bolts_keep_walls(layout):
    bolt = bolt_size("M4")
    cavity = layout.cavity
    for tool in layout.tools:
        assert least_gap_mm(tool, cavity, reach_mm=3.0) > 1.5
    for key in layout.keys:
        assert least_gap_mm(key.female, cavity, reach_mm=3.0) > 1.5
        for tool in layout.tools[: len(layout.bolts_uv)]:
            assert (key.female & tool).is_empty
        # The whole socket, and a wall behind it, lies within the outside.
        u, v, w = key.center_mm
        cap = box([0.5, 0.5, 0.5], center_mm=[u, v, w + key.height_mm + key.gap_mm + 1.0])
        assert (cap - layout.outside).is_empty
    centers = np.array(layout.bolts_uv)
    apart = np.linalg.norm(centers[:, None] - centers[None], axis=2)[np.triu_indices(4, 1)]
    assert apart.min() > 2.0 * bolt.reach_mm


def test_channels_open_only_at_the_top(layout):
    least = least_wall_mm(layout)
    assert wall_findings(layout, least) == []
    assert least > 1.5
    top = layout.runners[0].stop_v_mm
    assert layout.outside.bounds_mm[1, 1] == pytest.approx(top)
    for channel in layout.runners:
        assert (channel.solid - layout.outside).bounds_mm[0, 1] == pytest.approx(top)


def test_mould_stands_on_its_bottom(layout):
    # The centre of mass lies over the bottom face with a margin.
    center = layout.outside.mass_properties.centroid_mm
    floor = layout.outside.bounds_mm[0, 1]
    turn = np.eye(4)[[0, 2, 1, 3]] * np.array([[1], [1], [-1], [1]])
    slab = layout.outside & box([999, 2.0, 999], center_mm=[0, floor, 0])
    base = silhouette(slab.transformed(turn))
    assert base.offset(-3.0).contains([[center[0], center[2]]]).all()


def test_even_wall_is_least_material():
    made = {
        body: lay_out(bent(), MouldSettings(body=body, parting="plane", **PULL), progress=SILENT)
        for body in ("shell", "block", "cylinder")
    }
    volumes = {body: found.outside.volume_mm3 for body, found in made.items()}
    assert volumes["shell"] < 0.7 * min(volumes["block"], volumes["cylinder"])


def test_plain_bodies_carry_no_more_than_they_need():
    # Beside the obvious box of one wall all around: room for keys and bolts at both sides, and the channels
    # above; nothing more below or behind.
    cavity = sphere(15.0)
    settings = MouldSettings(body="block", parting="plane", **PULL)
    low, high = lay_out(cavity, settings, progress=SILENT).outside.bounds_mm
    assert low == pytest.approx([-29.0, -21.6, -21.0], abs=0.1)
    assert high == pytest.approx([29.0, 37.0, 21.0], abs=0.1)
    round_body = lay_out(cavity, replace(settings, body="cylinder"), progress=SILENT).outside
    assert round_body.bounds_mm[:, 1:].tolist() == [
        pytest.approx(low[1:], abs=1e-9),
        pytest.approx(high[1:], abs=1e-9),
    ]


@pytest.mark.parametrize("body", ["block", "cylinder"])
def test_backs_of_plain_bodies_are_flat(body):
    outside = lay_out(bent(), MouldSettings(body=body, parting="plane", **PULL), progress=SILENT).outside
    (u0, v0, w0), (u1, v1, w1) = outside.bounds_mm
    for back in (w0 + 0.01, w1 - 0.01):
        flat = level_section(outside, back)
        assert np.ptp(flat.bounds_mm[:, 1]) == pytest.approx(v1 - v0)
        assert np.ptp(flat.bounds_mm[:, 0]) > 0.3 * (u1 - u0)


def steep():
    """A steeply bent bar that is tilted about its length too: its parting surface is steep at both sides."""
    balls = [sphere(9.0, center_mm=[x, 0.4 * x, 0.03 * x * abs(x)], segments=48) for x in range(-27, 28, 6)]
    return union([*balls, *(ball.translated([0.0, 14.0, 10.0]) for ball in balls)])


def test_slots_take_a_lever_and_open_to_the_outside(layout):
    assert layout.slots == 2
    for tool in layout.tools[len(layout.bolts_uv) :][: layout.slots]:
        check_slot(layout, tool)


@pytest.mark.parametrize("body", ["shell", "cylinder"])
def test_slots_open_on_steep_land_too(body):
    found = lay_out(steep(), MouldSettings(parting="contour", body=body, **PULL), progress=SILENT)
    assert found.slots
    for tool in found.tools[len(found.bolts_uv) :][: found.slots]:
        check_slot(found, tool)


def check_slot(layout, tool):
    (u0, v0, w0), (u1, v1, w1) = tool.bounds_mm
    left, right = layout.outside.bounds_mm[:, 0]
    inner, outer = (u0, right + 20.0) if u0 + u1 > left + right else (u1, left - 20.0)
    # A lever 8 mm wide and 2 mm thick comes in from far outside, and meets no mould.
    ends = np.sort([inner + np.copysign(0.2, outer - inner), outer])
    middle = [ends.mean(), (v0 + v1) / 2.0, (w0 + w1) / 2.0]
    lever = box([ends[1] - ends[0], 8.0, 2.0], center_mm=middle)
    assert ((lever & layout.outside) - tool).is_empty
    assert (lever & layout.outside & tool).volume_mm3 > 0.0
    assert np.ptp((tool & layout.outside).bounds_mm[:, 0]) > 2.5
    # It bears on both halves: each has material all over the slot.
    below = layout.frame.below([-500, -500], [500, 500], -500.0)
    for over, half in ((w1 + 0.3, 1), (w0 - 0.3, 0)):
        slab = box([u1 - u0, v1 - v0, 0.4], center_mm=[(u0 + u1) / 2.0, middle[1], over])
        bearing = slab & layout.outside
        assert not bearing.is_empty
        assert (bearing & below if half else bearing - below).volume_mm3 < 0.02 * bearing.volume_mm3
    others = [*layout.tools[: len(layout.bolts_uv)], *(key.female for key in layout.keys)]
    assert all(least_gap_mm(tool, other, reach_mm=5.0) > 1.5 for other in others)
    assert least_gap_mm(tool, layout.cavity, reach_mm=9.0) > 3.0


def test_every_nut_is_held_in_a_pocket(layout):
    bolt = bolt_size("M4")
    for center, tool in zip(layout.bolts_uv, layout.tools, strict=False):
        seat = float(layout.frame.height_mm(center)[0]) - layout.settings.flange_thickness_mm
        u, v = center
        ring = frustum(
            (u, v, seat - bolt.nut_height_mm), (u, v, seat - 0.01), start_radius_mm=5.2, stop_radius_mm=5.2
        )
        assert ((ring - tool) - layout.outside).volume_mm3 < 1e-6
        assert (tool & ring).volume_mm3 > 100.0  # the pocket is there


def test_wall_of_a_block_is_the_distance_of_its_faces():
    chosen = MouldSettings(body="block", parting="plane", bolts="none", key_count=0, pry_slots=False, **PULL)
    found = lay_out(sphere(15.0), chosen, progress=SILENT)
    low, high = found.cavity.bounds_mm
    outer = found.outside.bounds_mm
    assert least_wall_mm(found) == pytest.approx(min((low - outer[0]).min(), (outer[1] - high).min()))
    assert least_wall_mm(found) >= 6.0 - 1e-9


def test_wall_of_a_cylinder_is_kept():
    chosen = MouldSettings(
        body="cylinder", parting="plane", bolts="none", key_count=0, pry_slots=False, **PULL
    )
    found = lay_out(sphere(15.0), chosen, progress=SILENT)
    room = box([200, 200, 200]) - found.outside
    wall = least_gap_mm(found.cavity, room, reach_mm=30.0)
    assert 0.0 <= wall - least_wall_mm(found) < 0.6  # the distance of a circle in the outside's corners


def test_thin_wall_is_found():
    chosen = MouldSettings(body="block", **PULL)
    found = lay_out(sphere(15.0), chosen, progress=SILENT)
    (thin,) = wall_findings(found, 0.5)
    assert (thin.code, thin.severity) == ("thin-wall", Severity.CAUTION)
    assert wall_findings(found, -0.1)[0].severity is Severity.STOP


def test_channel_that_breaks_out_is_found():
    found = lay_out(sphere(15.0), MouldSettings(body="block", **PULL), progress=SILENT)
    sprue, *vents = found.runners
    wide = replace(sprue, start_radius_mm=80.0, stop_radius_mm=80.0)
    broken = replace(found, runners=(wide, *vents))
    (out,) = wall_findings(broken, 3.0)
    assert out.code == "channel-breaks-out"
    assert out.severity is Severity.STOP
    assert out.where


def test_a_part_in_the_wrong_unit_is_refused_at_once():
    # Metres read as millimetres: it took minutes and gigabytes.
    with pytest.raises(NoPartingError, match=r"1\.8 mm long, too small for a sprue of 8 mm") as caught:
        lay_out(sphere(0.9), MouldSettings(), progress=SILENT)
    assert "unit" in caught.value.remedy
    small = MouldSettings(
        flange_width_mm=5.0, cup_depth_mm=4.0, cup_diameter_mm=8.0, wall_mm=3.0, sprue_diameter_mm=3.0,
        key_diameter_mm=3.0, bolts="none", **PULL,
    )  # fmt: skip
    with pytest.raises(NoPartingError, match=r"least 5\.1 mm"):
        lay_out(sphere(2.5), small, progress=SILENT)
    assert lay_out(sphere(2.6), small, progress=SILENT).shell is not None


def test_a_part_in_inches_read_as_something_larger_is_refused_before_its_walls_are_built():
    seen = []
    with pytest.raises(NoPartingError, match="would take") as caught:
        lay_out(sphere(900.0), MouldSettings(**PULL), progress=Progress(lambda *step: seen.append(step[0])))
    assert "unit" in caught.value.remedy
    assert "body" not in seen


def test_stages_are_reported_and_can_be_cancelled():
    from mirrorprep.errors import CancelledError

    seen = []
    lay_out(
        sphere(15.0), MouldSettings(body="block", **PULL), progress=Progress(lambda *step: seen.append(step))
    )
    fractions = [fraction for _, fraction in seen]
    assert fractions == sorted(fractions)
    with pytest.raises(CancelledError):
        lay_out(sphere(15.0), MouldSettings(**PULL), progress=Progress(cancelled=lambda: True))


def test_keys_stand_on_steep_land_where_there_is_no_other():
    balls = [sphere(9.0, center_mm=[x, 0.0, 0.05 * x * abs(x)], segments=24) for x in range(-30, 31, 6)]
    made = lay_out(union(balls), MouldSettings(parting="contour", **PULL), progress=SILENT)
    assert made.frame.parting.steepest_deg > 60.0
    assert len(made.keys) == 4


def test_keys_that_would_come_out_of_the_flange_are_left_out(monkeypatch):
    def places(*_args, **_options):
        return [np.array(uv) for uv in [(-18.0, 12.0), (18.0, 12.0), (18.0, -12.0), (60.0, 0.0)]], [3.5] * 4

    monkeypatch.setattr("mirrorprep.mould.layout.key_places", places)
    made = lay_out(sphere(9.0, segments=24), MouldSettings(parting="plane", **PULL), progress=SILENT)
    assert len(made.keys) == 3
    assert (union([key.female for key in made.keys]) - made.outside).volume_mm3 < 1e-6


def test_a_longer_edge_takes_more_keys():
    chosen = MouldSettings(body="block", parting="plane", bolts="none", pry_slots=False, **PULL)
    short = lay_out(box([40, 30, 20]), chosen, progress=SILENT)
    long = lay_out(box([190, 120, 20]), replace(chosen, bed_mm=(300.0, 300.0, 250.0)), progress=SILENT)
    assert (len(short.keys), short.settings.key_count) == (4, 4)
    # Edge of the shadow, 6 mm and 2 mm further out: 2 (190 + 120) + 2π 6 = 658 mm, 90 mm apart.
    assert (len(long.keys), long.settings.key_count) == (8, 8)
    asked = lay_out(box([190, 120, 20]), replace(chosen, key_count=2), progress=SILENT)
    assert len(asked.keys) == 2

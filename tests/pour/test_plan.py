"""The plan of a pour: contract names, ranges, findings, with a mould and without."""

import json

import numpy as np
import pytest

from mirrorprep.errors import CancelledError, UsageError
from mirrorprep.pour.channel_flow import Sprue
from mirrorprep.pour.demoulding import Undercut
from mirrorprep.pour.filling import vent_pressure_pa
from mirrorprep.pour.materials import GENERIC, find_material
from mirrorprep.pour.mixing import Mix
from mirrorprep.pour.plan import plan_pour
from mirrorprep.pour.ranges import Range
from mirrorprep.pour.request import PourRequest, Vent
from mirrorprep.progress import Progress
from mirrorprep.solid.finding import Severity
from mirrorprep.solid.primitives import box, frustum, sphere

SHEET = find_material("addition-cure silicone").with_figures(
    density_g_cm3=1.1,
    shrinkage=0.001,
    viscosity_pa_s=5.0,
    pot_life_s=1800.0,
    safe_strain=0.5,
    mix=Mix(names=("A", "B"), ratio=Range.of(0.1)),
)


def rod(x, low, high, radius):
    return frustum([x, 0, low], [x, 0, high], start_radius_mm=radius, stop_radius_mm=radius)


@pytest.fixture(scope="module")
def towers():
    return box([60, 30, 4], center_mm=[0, 0, 2]) + rod(-15, 2, 29, 5) + rod(15, 2, 19, 5)


@pytest.fixture(scope="module")
def mould(towers):
    """Two towers with a sprue on the taller and a vent on the shorter, up to 60 mm."""
    sprue, vent = rod(-15, 29, 60, 4), rod(15, 19, 60, 1)
    return {
        "cavity": towers,
        "channels": sprue + vent,
        "pull_direction": (0, 1, 0),
        "pour_up": (0, 0, 1),
        "sprue": Sprue(exit_diameter_mm=8, length_mm=31, head_mm=31),
        "sprue_top_mm": (-15.0, 0.0, 60.0),
        "sprue_exit_mm": (-15.0, 0.0, 29.0),
        "vents": (Vent(top_mm=(15.0, 0.0, 60.0), diameter_mm=2.0, length_mm=41.0),),
        "material": SHEET,
        "bolts": 4,
        "wall_mm": 6.0,
        "tolerance_mm": 0.3,
        "undercut": Undercut(depth_mm=0.0),
    }


@pytest.fixture(scope="module")
def demo_ear():
    from demo_shapes import ear

    return ear("small").solid


@pytest.fixture(scope="module")
def plan(mould):
    return plan_pour(PourRequest(**mould))


def codes(plan):
    return {finding.code for finding in plan.findings}


def test_contract_fields(plan):
    plain = json.loads(json.dumps(plan.as_dict()))
    names = [
        "material",
        "mass_g",
        "parts_by_mass",
        "fill_time_s",
        "pot_life_s",
        "lifting_force_n",
        "findings",
    ]
    assert list(plain)[: len(names)] == names
    for name in names[:-1]:
        assert plain[name] == getattr(plan, name)


def test_a_sound_mould_with_a_data_sheet_has_no_findings(plan):
    assert codes(plan) == {"level-ceiling"}
    assert plan.not_known == ()


def test_amounts(plan, towers, mould):
    inside = towers.volume_mm3 + mould["channels"].volume_mm3
    assert plan.quantities.channels_mm3 == pytest.approx(mould["channels"].volume_mm3)
    total = 1.05 * inside + plan.quantities.cup_residue_mm3
    assert plan.mass_g == pytest.approx(total * 1.1e-3, abs=0.05)
    assert sum(plan.parts_by_mass.values()) == pytest.approx(plan.mass_g, abs=0.1)
    assert plan.parts_by_mass["B"] / plan.parts_by_mass["A"] == pytest.approx(0.1, rel=0.01)


def test_channels_that_overlap_are_counted_once(mould):
    deep = {**mould, "channels": rod(-15, 5, 60, 4) + rod(15, 5, 60, 1)}
    plan = plan_pour(PourRequest(**deep))
    net = (deep["channels"] - mould["cavity"]).volume_mm3
    assert plan.quantities.channels_mm3 == pytest.approx(net, rel=0.05)


def test_air_and_levels(plan):
    assert plan.filling.advised_vents_mm == ()
    assert plan.filling.left_mm3 <= 5.0
    assert any(pocket.vented and pocket.volume_mm3 > 1000.0 for pocket in plan.air.pockets)
    assert [state.fraction for state in plan.levels] == [0.1, 0.25, 0.5, 0.75, 1.0]


def test_the_fill_time_is_the_viscous_one(plan, towers):
    # Hagen-Poiseuille with constant head while the cavity is below the sprue's exit.
    resistance = 8 * 5.0 * 0.031 / (np.pi * 0.004**4)
    rate = 1100 * 9.80665 * 0.031 / resistance
    assert plan.filling.time.time_s.typical == pytest.approx(towers.volume_mm3 * 1e-9 / rate, rel=0.01)
    assert plan.filling.time.flow.regime == "viscous"


def test_forces(plan):
    side = 60 * 4 + 10 * 25 + 10 * 15
    assert plan.holding.separation.projected_area_mm2 == pytest.approx(side, rel=0.02)
    moment = 240 * (60 - 2) + 250 * (60 - 16.5) + 150 * (60 - 11.5)
    assert plan.lifting_force_n == pytest.approx(1100 * 9.80665 * moment * 1e-9, rel=0.02)
    assert plan.holding.clamp_load_n == pytest.approx(2 * plan.holding.lifting_force_n.high)
    assert plan.holding.load_per_bolt_n == pytest.approx(plan.holding.clamp_load_n / 4)
    assert plan.holding.wall_deflection_mm is not None


def test_a_missing_vent_stops_the_job(mould):
    without = {**mould, "channels": rod(-15, 29, 60, 4), "vents": ()}
    plan = plan_pour(PourRequest(**without))
    (finding,) = [f for f in plan.findings if f.code == "air-pocket-unvented"]
    assert finding.severity is Severity.STOP
    assert finding.measured == pytest.approx(np.pi * 25 * 15, rel=0.01)
    assert finding.where[0] == pytest.approx((15, 0, 19), abs=0.5)


def test_a_vent_beside_the_cavity_is_told(mould):
    beside = Vent(top_mm=(90.0, 0.0, 60.0), diameter_mm=2.0, length_mm=41.0)
    plan = plan_pour(PourRequest(**{**mould, "vents": (beside,)}))
    assert {"opening-not-reached", "air-pocket-unvented"} <= codes(plan)


def test_the_weight_of_a_flat_half_helps(mould):
    flat = {**mould, "pull_direction": (0, 0, 1)}
    free = plan_pour(PourRequest(**flat)).holding
    heavy = plan_pour(PourRequest(**flat, upper_half_mass_g=100.0)).holding
    assert free.clamp_load_n - heavy.clamp_load_n == pytest.approx(0.980665)
    stated = plan_pour(PourRequest(**flat, projected_area_mm2=1800.0)).holding
    assert stated.separation.projected_area_mm2 == 1800.0


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"material": SHEET.with_figures(viscosity_pa_s=500.0)}, "fill-time-long"),
        ({"material": SHEET.with_figures(viscosity_pa_s=5000.0, pot_life_s=60.0)}, "fill-time-long"),
        ({"material": SHEET.with_figures(viscosity_pa_s=Range(1, 5, 400))}, "fill-time-uncertain"),
        ({"material": SHEET.with_figures(viscosity_pa_s=40.0)}, "bubbles-stay"),
        ({"material": "casting wax"}, "pot-life-unknown"),
        ({"material": SHEET.with_figures(viscosity_pa_s=1e-3)}, "flow-not-laminar"),
        ({"material": "casting wax"}, "vents-narrow"),
        ({"material": "casting wax"}, "shrinkage-over-tolerance"),
        ({"material": "epoxy"}, "generic-material-figure"),
        ({"wall_mm": 0.4}, "wall-bends"),
        ({"print_process": "sla"}, "cure-inhibition"),
        ({"undercut": Undercut(depth_mm=3.0, strain=0.9)}, "demoulding-strain-high"),
        ({"shrinkage_allowed": 0.05}, "shrinkage-over-tolerance"),
    ],
)
def test_each_fault_is_found(mould, changes, code):
    assert code in codes(plan_pour(PourRequest(**{**mould, **changes})))


def test_a_long_fall_is_told():
    tall = box([10, 10, 150])
    assert "free-fall" in codes(plan_pour(PourRequest(cavity=tall, pour_up=(0, 0, 1), material=SHEET)))


def test_a_part_alone(towers):
    plan = plan_pour(PourRequest(cavity=towers, pour_up=(0, 0, 1), material="polyurethane"))
    assert plan.filling.sprue_assumed
    assert len(plan.filling.advised_vents_mm) == 1
    assert plan.filling.left_mm3 <= 5.0
    assert "vents-needed" in codes(plan)
    assert len(plan.not_known) == 6
    assert plan.quantities.channels_mm3 == 0.0
    assert plan.holding.wall_deflection_mm is None


def test_the_pour_direction_is_searched(towers):
    free = plan_pour(PourRequest(cavity=towers, material=SHEET))
    assert free.filling.directions is not None
    assert free.filling.air.trapped_mm3 < 5.0
    across = plan_pour(PourRequest(cavity=towers, material=SHEET, pull_direction=(0, 1, 0)))
    assert abs(across.filling.up[1]) < 1e-9
    assert across.filling.air.trapped_mm3 < 5.0


def test_cautions_come_with_every_material():
    ball = sphere(10.0)
    plan = plan_pour(PourRequest(cavity=ball, pour_up=(0, 0, 1), material="gypsum stone"))
    assert set(find_material("gypsum stone").cautions) <= set(plan.cautions)
    assert set(plan.parts_by_mass) == {"powder", "water"}
    assert plan.as_dict()["quantities"]["water_bound_g"] > 0.0


def test_the_plan_repeats_and_reports_progress(mould):
    seen = []
    first = plan_pour(
        PourRequest(**mould), progress=Progress(lambda label, share: seen.append((label, share)))
    )
    second = plan_pour(PourRequest(**mould))
    assert first.as_dict() == second.as_dict()
    assert [share for _, share in seen] == sorted(share for _, share in seen)
    assert seen[-1] == ("plan", 1.0)
    with pytest.raises(CancelledError):
        plan_pour(PourRequest(**mould), progress=Progress(cancelled=lambda: True))


def test_unknown_material_is_refused(towers):
    with pytest.raises(UsageError, match="material class"):
        plan_pour(PourRequest(cavity=towers, material="butter"))


def test_vents_side_by_side_share_the_air():
    one = Vent(top_mm=(0, 0, 0), diameter_mm=2.0, length_mm=20.0)
    assert vent_pressure_pa(2000.0, (one, one)) == pytest.approx(vent_pressure_pa(1000.0, (one,)))


@pytest.mark.parametrize("material", [material.name for material in GENERIC])
def test_every_class_plans_the_demo_ear(material, demo_ear):
    plan = plan_pour(PourRequest(cavity=demo_ear, material=material, pull_direction=(0, 0, 1)))
    assert plan.filling.left_mm3 <= 5.0
    assert sum(plan.parts_by_mass.values()) == pytest.approx(plan.mass_g, rel=0.01)
    assert plan.fill_time_s > 0.0
    json.dumps(plan.as_dict(), allow_nan=False)


def test_shared_shapes_get_a_plan(shared_data):
    from mirrorprep.intake.read import read_scan
    from mirrorprep.solid.certify import certify

    for name in ("organic/spot-cow.obj", "scans/os_goathead.obj", "scans/os_koala_low_resolution.obj"):
        part = certify(read_scan(shared_data / name, units="cm"))
        plan = plan_pour(PourRequest(cavity=part))
        assert plan.filling.left_mm3 <= 5.0
        assert plan.mass_g > 0.0

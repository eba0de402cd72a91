"""Flow against worked examples of textbooks and exams; each names its source."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mirrorprep.errors import UsageError
from mirrorprep.pour.channel_flow import (
    Sprue,
    bubble_rise_mm_s,
    exit_area_mm2,
    inertial_rate_mm3_s,
    reynolds_number,
    sprue_flow,
    taper_ratio,
    torricelli_speed_m_s,
    viscous_pressure_pa,
    viscous_rate_mm3_s,
)
from mirrorprep.units import hydrostatic_pressure_pa

METAL = {"density_g_cm3": 7.0, "viscosity_pa_s": 0.005}


def test_torricelli():
    # Closed form: sqrt(2 g h), h = 0.25 m, g = 9.81: 2.21472 m/s.
    assert torricelli_speed_m_s(250.0) == pytest.approx(2.21472, rel=3e-4)


def test_sprue_of_the_exam():
    # Exam worked solution: 10 mm base, 250 mm high: 173 942.13 mm³/s.
    sprue = Sprue(exit_diameter_mm=10, length_mm=250, head_mm=250)
    assert inertial_rate_mm3_s(sprue, **METAL) == pytest.approx(173_942.13, rel=1e-3)


@pytest.mark.parametrize(("rate_l_s", "length_mm", "area_mm2"), [(1.0, 175.0, 539.67), (0.7, 185.0, 367.43)])
def test_taper_of_the_worked_answers(rate_l_s, length_mm, area_mm2):
    # Worked answers 540 mm² and 367.43 mm² for the foot of a sprue of this length.
    assert exit_area_mm2(rate_l_s * 1e6, length_mm) == pytest.approx(area_mm2, rel=1e-3)


def test_taper_that_draws_in_no_air():
    # Continuity and Bernoulli, depths from the liquid's surface: h 50 / 200 gives exactly 2.
    assert taper_ratio(50.0, 200.0) == 2.0


def test_glycerine_in_a_pipe():
    # School-textbook worked example: 4.0e-3 kg/s, 1300 kg/m³, 0.83 Pa·s, 1.5 m, r = 1.0 cm: 9.8e2 Pa, Re 0.3.
    rate = 4.0e-3 / 1300 * 1e9
    pressure = viscous_pressure_pa(rate, diameter_mm=20.0, length_mm=1500.0, viscosity_pa_s=0.83)
    assert pressure == pytest.approx(9.8e2, rel=0.01)
    speed = rate / (math.pi * 10.0**2) * 1e-3
    assert reynolds_number(speed, 20.0, 1.3, 0.83) == pytest.approx(0.307, rel=1e-2)


@pytest.mark.parametrize(
    ("viscosity", "time_s", "reynolds"), [(1.0, 17.28, 0.25), (5.0, 86.42, 0.010), (20.0, 345.7, 0.0006)]
)
def test_silicone_like_pours(viscosity, time_s, reynolds):
    # Hagen-Poiseuille, computed: 1100 kg/m³, 8 mm × 30 mm, head 40 mm, 25 cm³.
    sprue = Sprue(exit_diameter_mm=8, length_mm=30, head_mm=40)
    rate = viscous_rate_mm3_s(sprue, density_g_cm3=1.1, viscosity_pa_s=viscosity)
    assert 25e3 / rate == pytest.approx(time_s, rel=1e-3)
    flow = sprue_flow(sprue, density_g_cm3=1.1, viscosity_pa_s=viscosity)
    assert flow.regime == "viscous"
    assert flow.rate_mm3_s == pytest.approx(rate, rel=0.01)
    assert flow.reynolds == pytest.approx(reynolds, rel=0.1)


def test_air_in_a_vent():
    # Computed: 1 cm³/s of air (1.81e-5 Pa·s, from memory) through 1 mm × 10 mm: 7.37 Pa; 2 mm: 0.461 Pa.
    for diameter, pressure in ((1.0, 7.37), (2.0, 0.461)):
        found = viscous_pressure_pa(1000.0, diameter_mm=diameter, length_mm=10.0, viscosity_pa_s=1.81e-5)
        assert found == pytest.approx(pressure, rel=1e-3)


@pytest.mark.parametrize(("viscosity", "speed"), [(1.0, 0.600), (5.0, 0.120), (20.0, 0.030)])
def test_stokes_bubble(viscosity, speed):
    # Stokes, g ρ d² / 18 η: 1 mm in 1100 kg/m³.
    found = bubble_rise_mm_s(1.0, density_g_cm3=1.1, viscosity_pa_s=viscosity)
    assert found == pytest.approx(speed, rel=2e-3)


@pytest.mark.parametrize(("density", "pressure"), [(1.1, 1079.0), (1.7, 1668.0)])
def test_hydrostatic(density, pressure):
    # ρ g h at 100 mm.
    assert hydrostatic_pressure_pa(density, 100.0) == pytest.approx(pressure, rel=1e-3)


def test_each_law_refuses_the_others_liquid():
    sprue = Sprue(exit_diameter_mm=8, length_mm=30, head_mm=40)
    with pytest.raises(UsageError, match="Torricelli"):
        inertial_rate_mm3_s(sprue, density_g_cm3=1.1, viscosity_pa_s=5.0)
    with pytest.raises(UsageError, match="viscous law"):
        viscous_rate_mm3_s(sprue, density_g_cm3=1.0, viscosity_pa_s=0.001)


def test_a_cone_resists_as_its_integral():
    cone = Sprue(exit_diameter_mm=6, top_diameter_mm=12, length_mm=40, head_mm=50)
    found = viscous_rate_mm3_s(cone, density_g_cm3=1.1, viscosity_pa_s=10.0)
    steps = 4000
    radii = [3e-3 + 3e-3 * (i + 0.5) / steps for i in range(steps)]
    resistance = sum(8 * 0.04 / steps / (math.pi * r**4) for r in radii)
    assert found == pytest.approx(1.1e3 * 9.80665 * 0.05 / (10.0 * resistance) * 1e9, rel=1e-4)


@settings(deadline=None, max_examples=80, derandomize=True)
@given(
    viscosity=st.floats(1e-3, 50.0),
    diameter=st.floats(3.0, 20.0),
    head=st.floats(10.0, 300.0),
    factor=st.floats(1.1, 3.0),
)
def test_flow_rises_with_diameter_and_head_and_falls_with_viscosity(viscosity, diameter, head, factor):
    def rate(eta, d, h):
        sprue = Sprue(exit_diameter_mm=d, length_mm=30, head_mm=h)
        return sprue_flow(sprue, density_g_cm3=1.1, viscosity_pa_s=eta).rate_mm3_s

    base = rate(viscosity, diameter, head)
    ideal = torricelli_speed_m_s(head) * math.pi * diameter**2 / 4 * 1e3
    assert base <= ideal * (1 + 1e-9)
    assert rate(viscosity, diameter * factor, head) > base
    assert rate(viscosity * factor, diameter, head) <= base * 1.2  # the step between regimes
    assert rate(viscosity, diameter, head * factor) > 0.8 * base


def test_regimes_by_reynolds_number():
    sprue = Sprue(exit_diameter_mm=8, length_mm=30, head_mm=40)
    regimes = [
        sprue_flow(sprue, density_g_cm3=0.8, viscosity_pa_s=eta).regime for eta in (5.0, 0.02, 0.0015, 5e-4)
    ]
    assert regimes == ["viscous", "mixed", "transition", "turbulent"]


def test_thin_liquids_come_close_to_torricelli():
    sprue = Sprue(exit_diameter_mm=10, length_mm=5, head_mm=250)
    flow = sprue_flow(sprue, density_g_cm3=7.0, viscosity_pa_s=0.005)
    assert flow.regime == "turbulent"
    assert flow.rate_mm3_s == pytest.approx(inertial_rate_mm3_s(sprue, **METAL), rel=0.02)
    lossy = Sprue(exit_diameter_mm=10, length_mm=5, head_mm=250, loss=0.5)
    assert inertial_rate_mm3_s(lossy, **METAL) == pytest.approx(
        inertial_rate_mm3_s(sprue, **METAL) / math.sqrt(1.5)
    )


@pytest.mark.parametrize(
    "wrong", [{"exit_diameter_mm": 0.0}, {"head_mm": -1.0}, {"loss": -0.1}, {"length_mm": math.nan}]
)
def test_wrong_sprues_are_refused(wrong):
    with pytest.raises(UsageError, match="sprue"):
        Sprue(**{"exit_diameter_mm": 8.0, "length_mm": 30.0, "head_mm": 40.0, **wrong})


def test_wrong_liquids_are_refused():
    with pytest.raises(UsageError, match="viscosity"):
        sprue_flow(Sprue(exit_diameter_mm=8, length_mm=30, head_mm=40), density_g_cm3=1.0, viscosity_pa_s=0.0)


def test_volume_of_a_frustum():
    # Cone frustum R1 = 10, R2 = 5, h = 20: 3665.191429 (closed form).
    assert Sprue(
        exit_diameter_mm=10, top_diameter_mm=20, length_mm=20, head_mm=20
    ).volume_mm3 == pytest.approx(3665.191429)

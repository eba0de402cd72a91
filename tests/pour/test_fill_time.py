"""Fill times against worked examples and closed forms."""

import math

import numpy as np
import pytest

from mirrorprep.errors import UsageError
from mirrorprep.pour.channel_flow import Sprue, viscous_resistance
from mirrorprep.pour.fill_time import (
    FillProfile,
    bottom_gate_time_s,
    drain_time_s,
    falling_head_time_s,
    fill_profile,
    fill_time,
    fill_time_s,
    inertial_fill_time_s,
    sprue_diameter_mm,
    viscous_fill_time_s,
)
from mirrorprep.pour.materials import find_material
from mirrorprep.pour.ranges import Range
from mirrorprep.solid.primitives import box, sphere

METAL = {"density_g_cm3": 7.0, "viscosity_pa_s": 0.005}
SILICONE = {"density_g_cm3": 1.1, "viscosity_pa_s": 5.0}
SMALL = Sprue(exit_diameter_mm=8, length_mm=30, head_mm=40)


def test_cube_of_the_exam():
    # Exam worked solution: sprue 10 mm × 250 mm, cube of 100 mm: 10⁶ / 173 942 = 5.75 s.
    sprue = Sprue(exit_diameter_mm=10, length_mm=250, head_mm=250)
    assert inertial_fill_time_s(1e6, sprue, **METAL) == pytest.approx(5.75, rel=1e-3)


def test_textbook_sprue():
    # Textbook-style problem: sprue 20 cm, base 2.5 cm², cavity 1560 cm³: 3.150 s.
    diameter = math.sqrt(4 * 250 / math.pi)
    sprue = Sprue(exit_diameter_mm=diameter, length_mm=200, head_mm=200)
    assert inertial_fill_time_s(1.56e6, sprue, **METAL) == pytest.approx(3.150, rel=1e-3)


def test_bottom_gate():
    # Closed form, area ratio 100, H = 0.2 m, h_m = 0.1 m: 5.914 s (top gate: 5.048 s).
    assert bottom_gate_time_s(100.0, head_mm=200, height_mm=100) == pytest.approx(5.914, rel=1e-3)
    top = 100.0 * 0.1 / math.sqrt(2 * 9.81 * 0.2)
    assert top == pytest.approx(5.048, rel=1e-3)
    with pytest.raises(UsageError, match="cannot fill"):
        bottom_gate_time_s(100.0, head_mm=50, height_mm=100)


def test_tank_drain():
    # Torricelli: tank 100 mm wide, hole 10 mm, 0.2 m: (A0 / A) sqrt(2 h / g) = 20.193 s.
    assert drain_time_s(100.0, 200.0) == pytest.approx(20.193, rel=1e-3)


def test_falling_head():
    # Closed form 8 η L A / (π R⁴ ρ g) ln(h1 / h2): cup 40 mm, sprue 8 × 30 mm, 5 Pa·s, 60 -> 30 mm: 120.4 s.
    time = falling_head_time_s(math.pi * 20**2, SMALL, heads_mm=(60, 30), **SILICONE)
    assert time == pytest.approx(120.4, rel=1e-3)
    with pytest.raises(UsageError, match="falling"):
        falling_head_time_s(1.0, SMALL, heads_mm=(30, 60), **SILICONE)
    with pytest.raises(UsageError, match="viscous law"):
        falling_head_time_s(1.0, SMALL, heads_mm=(60, 30), density_g_cm3=1.0, viscosity_pa_s=0.001)


def test_the_balance_agrees_with_the_viscous_law():
    profile = FillProfile.from_above(25e3)
    assert fill_time_s(profile, SMALL, **SILICONE) == pytest.approx(86.42, rel=2e-3)
    assert viscous_fill_time_s(25e3, SMALL, **SILICONE) == pytest.approx(86.42, rel=1e-3)


def test_rising_liquid_presses_back():
    # Viscous and fed from below: dV/dt = ρ g (H − z) / (η R), so t = A η R / (ρ g) ln(H / (H − h)).
    profile = FillProfile(level_mm=(0.0, 20.0), volume_mm3=(0.0, 20e3), exit_mm=0.0)
    resistance = 5.0 * viscous_resistance(8, 30)
    exact = 1000e-6 * resistance / (1100 * 9.80665) * math.log(40 / 20)
    assert fill_time_s(profile, SMALL, **SILICONE) == pytest.approx(exact, rel=1e-3)


def test_rising_liquid_presses_back_on_a_thin_one():
    # The same without viscosity is the bottom-gate formula; friction and exit add a little.
    sprue = Sprue(exit_diameter_mm=10, length_mm=1, head_mm=200)
    area = math.pi * 25.0 * 100.0
    profile = FillProfile(level_mm=(0.0, 100.0), volume_mm3=(0.0, 100.0 * area), exit_mm=0.0)
    time = fill_time_s(profile, sprue, **METAL)
    assert time == pytest.approx(bottom_gate_time_s(100.0, head_mm=200, height_mm=100), rel=0.01)


def test_the_level_may_reach_the_cup():
    profile = FillProfile(level_mm=(0.0, 40.0), volume_mm3=(0.0, 40e3), exit_mm=0.0)
    assert math.isfinite(fill_time_s(profile, SMALL, **SILICONE))


def test_the_least_sprue_fills_in_time():
    profile = FillProfile(level_mm=(0.0, 30.0), volume_mm3=(0.0, 25e3), exit_mm=10.0)
    diameter = sprue_diameter_mm(profile, SMALL, time_s=60.0, **SILICONE)
    assert diameter is not None
    assert fill_time_s(profile, SMALL.with_diameter(diameter), **SILICONE) == pytest.approx(60.0, rel=1e-3)
    assert sprue_diameter_mm(profile, SMALL, time_s=1e6, **SILICONE) == 2.0
    assert sprue_diameter_mm(profile, SMALL, time_s=1e-3, **SILICONE) is None


def test_diameter_goes_with_the_fourth_root():
    # Hagen-Poiseuille: t ∝ η / d⁴.
    profile = FillProfile.from_above(25e3)
    thick, thicker = (
        sprue_diameter_mm(profile, SMALL, time_s=60.0, density_g_cm3=1.1, viscosity_pa_s=eta)
        for eta in (20.0, 40.0)
    )
    assert thicker / thick == pytest.approx(2**0.25, rel=1e-3)


def test_times_carry_the_materials_range():
    material = find_material("addition-cure silicone").with_figures(
        density_g_cm3=1.1, viscosity_pa_s=Range(1, 5, 20)
    )
    time = fill_time(FillProfile.from_above(25e3), SMALL, material).time_s
    # Computed rows for 1, 5 and 20 Pa·s.
    assert (time.low, time.typical, time.high) == pytest.approx((17.28, 86.42, 345.7), rel=0.03)


def test_profile_of_a_ball():
    ball = sphere(10.0, segments=96)
    profile = fill_profile(ball.mesh, pour_up=(1, 2, 3))
    level, volume = np.array(profile.level_mm), np.array(profile.volume_mm3)
    # Spherical cap R = 10, h = 4: 435.634181 mm³ (closed form); the facets and the columns take about 1 %.
    assert np.interp(4.0, level, volume) == pytest.approx(435.634, rel=0.015)
    assert volume[-1] == pytest.approx(ball.volume_mm3)
    assert profile.exit_mm == pytest.approx(level[-1])


def test_profile_with_an_exit_inside():
    profile = fill_profile(box([10, 10, 40]).mesh, pour_up=(0, 0, 1), exit_mm=-5.0)
    assert profile.exit_mm == pytest.approx(15.0, abs=1e-9)

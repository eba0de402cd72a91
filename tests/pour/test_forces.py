"""Forces against worked examples of foundry texts and plate theory."""

import math

import numpy as np
import pytest

from mirrorprep.errors import UsageError
from mirrorprep.pour.forces import (
    core_buoyancy_n,
    holding_mass_kg,
    lifting_force_n,
    plate_deflection_mm,
    separation,
)
from mirrorprep.pour.ranges import Range
from mirrorprep.solid.primitives import box, frustum, sphere
from mirrorprep.units import MM3_PER_CM3, STANDARD_GRAVITY_M_S2

UP = (0.0, 0.0, 1.0)


def density_of(specific_weight_kn_m3: float) -> float:
    return specific_weight_kn_m3 / STANDARD_GRAVITY_M_S2


def test_cope_of_the_exam():
    # 1991 engineering exam: flask 300 × 200, cope 50 mm, block 150 × 100 × 50 wholly in the drag, iron
    # 78 kN/m³, sand 16 kN/m³: lift 58.5 N, cope sand 48.0 N, net 10.5 N.
    lift = lifting_force_n(density_of(78.0), 50.0, 150 * 100)
    sand = 16e3 * 0.300 * 0.200 * 0.050
    assert lift == pytest.approx(58.5)
    assert sand == pytest.approx(48.0)
    assert lift - sand == pytest.approx(10.5)
    block = box([150, 100, 50], center_mm=(0, 0, -25)).mesh
    found = separation(block, pull_direction=UP, pour_up=UP, surface_height_mm=50.0)
    assert found.force_n(Range.of(density_of(78.0))).typical == pytest.approx(58.5, rel=0.01)
    assert found.projected_area_mm2 == pytest.approx(15e3, rel=0.01)
    assert found.span_mm == pytest.approx((150, 100))


def test_ear_size_mould():
    # Computed: ellipse 60 × 40, head 80 mm, 1100 kg/m³: 1.63 N.
    assert lifting_force_n(1.1, 80.0, math.pi * 30 * 20) == pytest.approx(1.63, rel=1e-2)


def test_core_buoyancy():
    # Problem with printed answer: 225.63 N, 7.82 against 1.6 g/cm³: 3698 cm³.
    per_cm3 = core_buoyancy_n(MM3_PER_CM3, 7.82, 1.6)
    assert 225.63 / per_cm3 == pytest.approx(3698.0, rel=5e-4)
    # The core's own density does not enter what it passes on to the half (foundry encyclopaedia entry).
    assert core_buoyancy_n(1000.0, 7.82) == pytest.approx(7.82e-3 * STANDARD_GRAVITY_M_S2)


def test_a_hanging_core_is_lifted_by_what_it_displaces():
    # The cavity of a cup poured rim down: its core stands below, so only the ceiling loads the upper half;
    # rim up, the core hangs from the upper half and adds the weight of the liquid it displaces.
    cup = box([40, 40, 30], center_mm=(0, 0, -15)) - box([20, 20, 20], center_mm=(0, 0, -10))
    hanging = separation(cup.mesh, pull_direction=UP, pour_up=UP, surface_height_mm=25.0)
    plain = lifting_force_n(1.0, 25.0, 40 * 40)
    displaced = core_buoyancy_n(20 * 20 * 20, 1.0)
    assert hanging.force_per_density == pytest.approx(plain + displaced, rel=0.01)


def test_side_thrust_on_an_upright_parting():
    # Hydrostatics of an upright wall: F = ρ g (H − z_c) A; box 40 wide, 60 tall, surface 20 above it.
    upright = box([10, 40, 60], center_mm=(0, 0, 30)).mesh
    found = separation(upright, pull_direction=(1, 0, 0), pour_up=UP, surface_height_mm=80.0)
    assert found.mean_head_mm == pytest.approx(50.0, rel=0.01)
    assert found.force_per_density == pytest.approx(lifting_force_n(1.0, 50.0, 2400.0), rel=0.01)


def test_the_sign_of_the_pull_does_not_matter():
    body = frustum([0, 0, 0], [0, 0, 20], start_radius_mm=20, stop_radius_mm=5).mesh
    one, two = (
        separation(body, pull_direction=np.multiply(UP, s), pour_up=UP, surface_height_mm=40.0)
        for s in (1, -1)
    )
    assert one.force_per_density == pytest.approx(two.force_per_density)


def test_a_ball_has_the_shadow_of_a_disc():
    ball = sphere(10.0, segments=128).mesh
    found = separation(ball, pull_direction=(1, 1, 0), pour_up=UP, surface_height_mm=30.0)
    assert found.projected_area_mm2 == pytest.approx(math.pi * 100, rel=0.01)
    assert found.mean_head_mm == pytest.approx(30.0, rel=0.01)
    assert found.over_area(1000.0).force_per_density == pytest.approx(
        lifting_force_n(1.0, found.mean_head_mm, 1000.0)
    )


def test_a_surface_below_the_top_is_refused():
    ball = sphere(10.0).mesh
    with pytest.raises(UsageError, match="below the cavity's top"):
        separation(ball, pull_direction=UP, pour_up=UP, surface_height_mm=5.0)
    with pytest.raises(UsageError, match="pull direction"):
        separation(ball, pull_direction=(0, 0, 0), pour_up=UP, surface_height_mm=15.0)


@pytest.mark.parametrize(
    ("ratio", "coefficient"), [(1.0, 0.00406), (1.5, 0.00772), (2.0, 0.01013), (3.0, 0.01223), (5.0, 0.01297)]
)
def test_simply_supported_plates(ratio, coefficient):
    # Timoshenko and Woinowsky-Krieger, table 8: w = α q a⁴ / D, values from memory.
    poisson, modulus, thickness, side = 0.3, 2e9, 6e-3, 0.1
    stiffness = modulus * thickness**3 / (12 * (1 - poisson**2))
    found = plate_deflection_mm(
        1000.0, sides_mm=(100.0 * ratio, 100.0), thickness_mm=6.0, modulus_gpa=2.0, poisson=poisson
    )
    assert found * 1e-3 == pytest.approx(coefficient * 1000.0 * side**4 / stiffness, rel=2e-3)


def test_wrong_plates_are_refused():
    with pytest.raises(UsageError, match="plate"):
        plate_deflection_mm(1.0, sides_mm=(1.0, 0.0), thickness_mm=1.0, modulus_gpa=1.0)


def test_holding_mass():
    assert holding_mass_kg(10.5) == pytest.approx(10.5 / 9.80665)

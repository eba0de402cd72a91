"""Quantities: volumes, masses, parts and water."""

import math

import pytest

from mirrorprep.errors import UsageError
from mirrorprep.pour.materials import find_material
from mirrorprep.pour.mixing import Mix
from mirrorprep.pour.quantities import cup_residue_mm3, quantities
from mirrorprep.pour.ranges import Range


def test_mass_of_the_ear_box_ellipsoid():
    # Closed form: semi-axes (31.5, 18, 9), 21375.396 mm³ at 1.10 g/cm³ is 23.513 g.
    volume = 4.0 / 3.0 * math.pi * 31.5 * 18 * 9
    resin = find_material("polyurethane").with_figures(density_g_cm3=1.10)
    assert quantities(volume, resin).part_mass_g.typical == pytest.approx(23.513, abs=5e-4)


def test_everything_is_counted_once():
    amounts = quantities(20e3, find_material("epoxy"), channels_mm3=5e3, film_mm=0.5, loss_share=0.1)
    assert amounts.loss_mm3 == pytest.approx(2500)
    assert amounts.cup_residue_mm3 == pytest.approx(cup_residue_mm3(25e3))
    assert amounts.total_mm3 == pytest.approx(27.5e3 + amounts.cup_residue_mm3)
    assert amounts.mass_g.low == pytest.approx(amounts.total_mm3 * 1.1e-3)
    assert amounts.mass_g.high == pytest.approx(amounts.total_mm3 * 1.3e-3)


def test_the_film_in_a_cup():
    # A cup 30 mm wide and tall: wall pi 30 30, floor pi 30² / 4.
    wetted = math.pi * 30 * 30 + math.pi * 30**2 / 4
    assert cup_residue_mm3(math.pi * 30**3 / 4, 0.5) == pytest.approx(wetted * 0.5)


def test_gypsum_binds_part_of_its_water():
    plaster = find_material("gypsum plaster").with_figures(
        mix=Mix(names=("powder", "water"), ratio=Range.of(0.5))
    )
    amounts = quantities(100e3, plaster, film_mm=0.0, loss_share=0.0)
    powder, water = amounts.parts_g["powder"].typical, amounts.parts_g["water"].typical
    assert water / powder == pytest.approx(0.5)
    assert powder / 2.64 + water == pytest.approx(100.0, rel=1e-3)
    assert amounts.water_bound_g is not None
    assert amounts.water_bound_g.typical == pytest.approx(0.186 * powder, rel=2e-3)


def test_a_wax_part_is_smaller_than_its_cavity():
    wax = find_material("casting wax").with_figures(density_g_cm3=0.9, shrinkage=0.02)
    amounts = quantities(10e3, wax)
    assert amounts.part_mass_g.typical == pytest.approx(9.0 * 0.98**3)
    assert amounts.water_bound_g is None


def test_a_mix_by_volume_lists_volumes():
    resin = find_material("polyurethane").with_figures(mix=Mix(names=("A", "B"), by="volume"))
    plain = quantities(20e3, resin).as_dict()
    assert plain["parts_by_volume_mm3"]["A"] == plain["parts_by_volume_mm3"]["B"] > 10e3


@pytest.mark.parametrize(
    ("cavity", "options"),
    [
        (0.0, {}),
        (-1.0, {}),
        (1.0, {"channels_mm3": -1.0}),
        (1.0, {"loss_share": 2.0}),
        (1.0, {"film_mm": -1.0}),
    ],
)
def test_wrong_amounts_are_refused(cavity, options):
    with pytest.raises(UsageError):
        quantities(cavity, find_material("epoxy"), **options)

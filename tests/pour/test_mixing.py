"""Mix ratios, slurry density, the water that gypsum binds."""

import pytest

from mirrorprep.errors import UsageError
from mirrorprep.pour.mixing import Mix, slurry_density_g_cm3, stoichiometric_water_g
from mirrorprep.pour.ranges import Range


def test_water_of_gypsum():
    # Stoichiometry: CaSO4·½H2O 145.14 g/mol + 1½ H2O -> 172.16 g/mol: 18.6 g per 100 g.
    assert stoichiometric_water_g(100.0) == pytest.approx(18.6, abs=0.1)
    assert 100.0 + stoichiometric_water_g(100.0) == pytest.approx(100.0 * 172.16 / 145.14, rel=1e-3)


def test_slurry_of_half_its_mass_in_water():
    # Hydrostatic check row: plaster slurry 1700 kg/m³; powder 2.64 g/cm³ (page quoting crystal data).
    assert slurry_density_g_cm3(0.5, 2.64) == pytest.approx(1.70, abs=0.01)
    assert slurry_density_g_cm3(1e9, 2.64) == pytest.approx(1.0, rel=1e-6)


def test_masses_add_up_and_keep_the_ratio():
    parts = Mix(names=("A", "B"), ratio=Range.of(0.1)).masses_g(Range.of(55.0))
    assert parts["A"].typical + parts["B"].typical == pytest.approx(55.0)
    assert parts["B"].typical / parts["A"].typical == pytest.approx(0.1)


def test_an_uncertain_ratio_widens_the_parts():
    parts = Mix(names=("powder", "water"), ratio=Range(0.4, 0.45, 0.5)).masses_g(Range.of(145.0))
    assert parts["powder"].high == pytest.approx(145.0 / 1.4)
    assert parts["water"].high == pytest.approx(145.0 * 0.5 / 1.5)


def test_a_ratio_by_volume_needs_densities_for_masses():
    mix = Mix(names=("A", "B"), ratio=Range.of(1.0), by="volume", densities_g_cm3=(1.0, 1.2))
    parts = mix.masses_g(Range.of(220.0))
    assert parts["A"].typical == pytest.approx(100.0)
    assert parts["B"].typical == pytest.approx(120.0)
    volumes = mix.volumes_mm3(Range.of(200e3))
    assert volumes is not None
    assert volumes["B"].typical == pytest.approx(100e3)
    assert Mix(names=("A", "B")).volumes_mm3(Range.of(1.0)) is None


def test_one_part_is_not_mixed():
    assert Mix(names=("wax",)).masses_g(Range.of(7.0)) == {"wax": Range.of(7.0)}


@pytest.mark.parametrize(
    "wrong",
    [
        {"names": ()},
        {"names": ("A", "B"), "ratio": Range.of(0.0)},
        {"names": ("A", "B"), "by": "weight"},
        {"names": ("A", "B"), "densities_g_cm3": (1.0, 0.0)},
    ],
)
def test_wrong_mixes_are_refused(wrong):
    with pytest.raises(UsageError):
        Mix(**wrong)

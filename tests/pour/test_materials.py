"""Generic material classes against the ranges that were read, and replacing their figures."""

import pytest

from mirrorprep import cautions
from mirrorprep.errors import UsageError
from mirrorprep.pour.materials import DATA_SHEET, FIGURES, FROM_MEMORY, GENERIC, find_material
from mirrorprep.pour.mixing import Mix
from mirrorprep.pour.ranges import Range


def test_the_classes():
    assert [material.name for material in GENERIC] == [
        "addition-cure silicone",
        "condensation-cure silicone",
        "casting wax",
        "cold-cure acrylic",
        "polyurethane",
        "epoxy",
        "gypsum plaster",
        "gypsum stone",
    ]


def test_beeswax():
    # Beeswax: density 0.95-0.97; rods cast in a closed mould shrink 1.2-1.9 % (table in PMC11876593).
    wax = find_material("casting wax")
    assert (wax.shrinkage.low, wax.shrinkage.high) == pytest.approx((0.012, 0.019))
    assert wax.density_g_cm3.low <= 0.95 < 0.97 <= wax.density_g_cm3.high
    assert wax.melted
    assert wax.pot_life_s is None
    assert wax.liquid_density_g_cm3.high < wax.density_g_cm3.low


def test_acrylic():
    # Pattern resins 5.07 to 7.43 % by volume: 1.72 to 2.54 % linear (Gibbs 2014, J Prosthet Dent).
    acrylic = find_material("cold-cure acrylic")
    assert acrylic.shrinkage.low == pytest.approx(0.0172, abs=5e-5)
    assert acrylic.shrinkage.high == pytest.approx(0.0254, abs=5e-5)


def test_gypsum():
    # Water per 100 g: plaster 40-50, stone 25-30 (dental-materials textbook table 8.2).
    # Expansion: plaster 0.2-0.3 %, stone 0.08-0.10 % (lecture digest).
    plaster, stone = find_material("gypsum plaster"), find_material("gypsum stone")
    assert (plaster.mix.ratio.low, plaster.mix.ratio.high) == (0.40, 0.50)
    assert (stone.mix.ratio.low, stone.mix.ratio.high) == (0.25, 0.30)
    assert (-plaster.shrinkage.high, -plaster.shrinkage.low) == pytest.approx((0.002, 0.003))
    assert (-stone.shrinkage.high, -stone.shrinkage.low) == pytest.approx((0.0008, 0.0010))
    assert plaster.liquid_density_g_cm3.low == pytest.approx(1.707, abs=1e-3)


def test_silicones():
    # Ranges from memory; direction read: condensation cure shrinks more (PMC7791581).
    addition, condensation = (find_material(f"{kind}-cure silicone") for kind in ("addition", "condensation"))
    assert condensation.shrinkage.low >= addition.shrinkage.high
    assert addition.flexible
    assert addition.source("viscosity_pa_s") == FROM_MEMORY
    assert cautions.CURE_INHIBITION in addition.cautions
    assert cautions.TIN_CATALYST in condensation.cautions


@pytest.mark.parametrize("material", GENERIC, ids=lambda material: material.name)
def test_every_class_is_marked_generic_and_cautioned(material):
    assert material.generic_figures == FIGURES
    assert material.cautions
    plain = material.as_dict()
    assert plain["name"] == material.name
    assert all(plain["sources"].values())


def test_the_users_figures_replace_the_generic_ones():
    mine = find_material("polyurethane").with_figures(
        density_g_cm3=1.05,
        viscosity_pa_s=Range(0.08, 0.1, 0.12),
        pot_life_s=180,
        shrinkage=0.002,
        name="cast A",
    )
    assert mine.name == "cast A"
    assert mine.density_g_cm3 == mine.liquid_density_g_cm3 == Range.of(1.05)
    assert mine.viscosity_pa_s.high == 0.12
    assert mine.source("pot_life_s") == DATA_SHEET
    assert mine.generic_figures == ("mix", "safe_strain")
    assert find_material("polyurethane").generic_figures == FIGURES


def test_a_wax_keeps_its_liquid_density():
    wax = find_material("casting wax").with_figures(density_g_cm3=0.96)
    assert wax.density_g_cm3.typical == 0.96
    assert "liquid_density_g_cm3" in wax.generic_figures


def test_a_stated_water_ratio_gives_the_slurry():
    mix = Mix(names=("powder", "water"), ratio=Range.of(0.5))
    stated = find_material("gypsum plaster").with_figures(mix=mix)
    assert stated.density_g_cm3.typical == pytest.approx(1.707, abs=1e-3)
    assert stated.density_g_cm3.exact


@pytest.mark.parametrize(
    "name", ["Addition Cure Silicone", "addition_cure_silicone", "ADDITION-CURE SILICONE"]
)
def test_names_are_forgiving(name):
    assert find_material(name).name == "addition-cure silicone"


def test_unknown_names_and_wrong_figures_are_refused():
    with pytest.raises(UsageError, match="chocolate"):
        find_material("chocolate")
    with pytest.raises(UsageError, match="viscosity"):
        find_material("epoxy").with_figures(viscosity_pa_s=0.0)
    with pytest.raises(UsageError, match="shrinkage"):
        find_material("epoxy").with_figures(shrinkage=0.5)

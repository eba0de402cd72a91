"""Mix: how a casting material is put together from its parts."""

from dataclasses import dataclass
from typing import Literal

from mirrorprep.errors import UsageError
from mirrorprep.pour.ranges import Range, combined

CALCIUM, SULPHUR, OXYGEN, HYDROGEN = 40.078, 32.06, 15.999, 1.008
"""Standard atomic weights (IUPAC, abridged values), g/mol."""

EQUAL_PARTS = Range.of(1.0)
WATER_DENSITY_G_CM3 = 1.0
HEMIHYDRATE_DENSITY_G_CM3 = 2.64
"""Density of β-hemihydrate powder: crystal data, second-hand."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mix:
    """Parts and their ratio.

    Attributes
    ----------
    names : (str, str) or (str,)
        What the parts are called; one name for a material that is not mixed.
    ratio : Range
        Second part per first part.
    by : str
        ``mass`` or ``volume``.
    densities_g_cm3 : (float, float) or None
        Of the parts, needed to turn a ratio by volume into masses; equal densities are taken without.

    Examples
    --------
    >>> Mix(names=("A", "B"), ratio=Range.of(0.1)).masses_g(Range.of(110.0))["B"].typical
    10.0
    """

    names: tuple[str, ...]
    ratio: Range = EQUAL_PARTS
    by: Literal["mass", "volume"] = "mass"
    densities_g_cm3: tuple[float, float] | None = None

    def __post_init__(self) -> None:
        if len(self.names) not in (1, 2):
            raise UsageError(f"A mix of {len(self.names)} parts.", remedy="Name one part or two.")
        if self.ratio.low <= 0.0:
            raise UsageError(
                f"A mix ratio of {self.ratio.low:g}.", remedy="Give the second part per first part, above 0."
            )
        if self.by not in ("mass", "volume"):
            raise UsageError(f"A mix by '{self.by}'.", remedy="Use 'mass' or 'volume'.")
        if self.densities_g_cm3 is not None and min(self.densities_g_cm3) <= 0.0:
            raise UsageError(f"Densities {self.densities_g_cm3}.", remedy="Give two positive densities.")

    @property
    def mass_ratio(self) -> Range:
        """Second part per first part by mass."""
        if self.by == "volume" and self.densities_g_cm3 is not None:
            return self.ratio.scaled(self.densities_g_cm3[1] / self.densities_g_cm3[0])
        return self.ratio

    def masses_g(self, mass_g: Range) -> dict[str, Range]:
        """Return the mass of each part."""
        if len(self.names) == 1:
            return {self.names[0]: mass_g}
        first, second = self.names
        return {
            first: combined(lambda m, r: m / (1.0 + r), mass_g, self.mass_ratio),
            second: combined(lambda m, r: m * r / (1.0 + r), mass_g, self.mass_ratio),
        }

    def volumes_mm3(self, volume_mm3: Range) -> dict[str, Range] | None:
        """Return the volume of each part, or None for a material that is not mixed by volume."""
        if len(self.names) == 1 or self.by != "volume":
            return None
        first, second = self.names
        return {
            first: combined(lambda v, r: v / (1.0 + r), volume_mm3, self.ratio),
            second: combined(lambda v, r: v * r / (1.0 + r), volume_mm3, self.ratio),
        }


def slurry_density_g_cm3(water_per_powder: float, powder_density_g_cm3: float) -> float:
    """Return the density of a bubble-free slurry, volumes added up.

    Examples
    --------
    >>> round(slurry_density_g_cm3(0.5, 2.64), 3)
    1.707
    """
    powder_cm3 = 1.0 / powder_density_g_cm3
    return (1.0 + water_per_powder) / (powder_cm3 + water_per_powder / WATER_DENSITY_G_CM3)


def stoichiometric_water_g(hemihydrate_g: float) -> float:
    """Return the water that calcium sulphate hemihydrate binds on setting to the dihydrate.

    Notes
    -----
    CaSO₄·½H₂O + 1½ H₂O → CaSO₄·2H₂O. The rest of the mixing water only makes the slurry pourable.

    Examples
    --------
    >>> round(stoichiometric_water_g(100.0), 1)
    18.6
    """
    water = 2.0 * HYDROGEN + OXYGEN
    hemihydrate = CALCIUM + SULPHUR + 4.0 * OXYGEN + 0.5 * water
    return hemihydrate_g * 1.5 * water / hemihydrate

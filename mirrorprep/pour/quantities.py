"""Quantities: how much to mix."""

import math
from dataclasses import dataclass

from mirrorprep.errors import UsageError
from mirrorprep.pour.materials import Material
from mirrorprep.pour.mixing import stoichiometric_water_g
from mirrorprep.pour.ranges import Range, combined
from mirrorprep.units import mass_g

CUP_FILM_MM = 0.5
"""Film left on the walls of the mixing cup: common practice, no source."""

LOSS_SHARE = 0.05
"""Spilling, stirring stick, overflow at the vents: common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantities:
    """What goes into the mould and what must be mixed.

    Attributes
    ----------
    cavity_mm3, channels_mm3 : float
        Volume of the part's cavity, and of sprue, cup and vents.
    cup_residue_mm3, loss_mm3 : float
        What stays in the mixing cup, and the allowance for loss.
    total_mm3 : float
        Sum of all.
    mass_g : Range
        Mass to mix.
    part_mass_g : Range
        Mass of the finished casting without channels.
    parts_g : dict
        Mass of each part of the mix.
    parts_mm3 : dict or None
        Volume of each part, for a mix by volume.
    water_bound_g : Range or None
        Of gypsum: the part of the water that sets; the rest dries out.
    """

    cavity_mm3: float
    channels_mm3: float
    cup_residue_mm3: float
    loss_mm3: float
    total_mm3: float
    mass_g: Range
    part_mass_g: Range
    parts_g: dict[str, Range]
    parts_mm3: dict[str, Range] | None
    water_bound_g: Range | None

    def as_dict(self) -> dict[str, object]:
        """Return plain data for JSON, rounded to the digits that the figures support."""
        return {
            "cavity_mm3": self.cavity_mm3,
            "channels_mm3": self.channels_mm3,
            "cup_residue_mm3": round(self.cup_residue_mm3, -1),
            "loss_mm3": round(self.loss_mm3, -1),
            "total_mm3": round(self.total_mm3, -1),
            "mass_range_g": self.mass_g.as_dict(),
            "part_mass_range_g": self.part_mass_g.as_dict(),
            "parts_by_mass_range": {name: part.as_dict() for name, part in self.parts_g.items()},
            "parts_by_volume_mm3": None
            if self.parts_mm3 is None
            else {name: part.rounded for name, part in self.parts_mm3.items()},
            "water_bound_g": None if self.water_bound_g is None else self.water_bound_g.rounded,
        }


def cup_residue_mm3(volume_mm3: float, film_mm: float = CUP_FILM_MM) -> float:
    """Return what clings to a mixing cup as tall as wide that just holds the volume.

    Notes
    -----
    V = π d³ / 4, wetted wall and floor = 5 π d² / 4.

    Examples
    --------
    >>> round(cup_residue_mm3(25_000.0))
    1972
    """
    width = math.cbrt(4.0 * volume_mm3 / math.pi)
    return 1.25 * math.pi * width**2 * film_mm


def quantities(
    cavity_mm3: float,
    material: Material,
    *,
    channels_mm3: float = 0.0,
    film_mm: float = CUP_FILM_MM,
    loss_share: float = LOSS_SHARE,
) -> Quantities:
    """Return how much to mix.

    Parameters
    ----------
    cavity_mm3 : float
        Volume of the cavity.
    material : Material
        Densities and mix.
    channels_mm3 : float, optional
        Volume of sprue, pouring cup and vents.
    film_mm : float, optional
        Film left in the mixing cup.
    loss_share : float, optional
        Allowance for loss as a share of what the mould takes.

    Returns
    -------
    Quantities
        Volumes and masses.

    Raises
    ------
    UsageError
        If a volume or share is negative, or there is no cavity.

    Examples
    --------
    >>> from mirrorprep.pour.materials import find_material
    >>> resin = find_material("polyurethane").with_figures(density_g_cm3=1.10)
    >>> round(quantities(21375.396, resin).part_mass_g.typical, 3)
    23.513
    """
    if not (cavity_mm3 > 0.0 and channels_mm3 >= 0.0):
        raise UsageError(
            f"Volumes of {cavity_mm3:g} and {channels_mm3:g} mm³ cannot be poured.",
            remedy="The cavity must be above 0, the channels not below 0.",
        )
    if not (film_mm >= 0.0 and 0.0 <= loss_share <= 1.0):
        raise UsageError(
            f"A film of {film_mm:g} mm and a loss of {loss_share:g}.",
            remedy="Give a film of at least 0 mm and a loss from 0 to 1.",
        )
    mould = cavity_mm3 + channels_mm3
    residue = cup_residue_mm3(mould, film_mm)
    loss = loss_share * mould
    total = mould + residue + loss
    mass = combined(lambda density: mass_g(total, density), material.liquid_density_g_cm3)
    parts = material.mix.masses_g(mass)
    powder = parts.get("powder") if "water" in parts else None
    return Quantities(
        cavity_mm3=cavity_mm3,
        channels_mm3=channels_mm3,
        cup_residue_mm3=residue,
        loss_mm3=loss,
        total_mm3=total,
        mass_g=mass,
        part_mass_g=_casting_mass(cavity_mm3, material),
        parts_g=parts,
        parts_mm3=material.mix.volumes_mm3(Range.of(total)),
        water_bound_g=None if powder is None else combined(stoichiometric_water_g, powder),
    )


def _casting_mass(cavity_mm3: float, material: Material) -> Range:
    """Return the mass of the casting: mass is kept while setting, but melts are topped up as they shrink."""
    if not material.melted:
        return combined(lambda density: mass_g(cavity_mm3, density), material.density_g_cm3)
    return combined(
        lambda density, s: mass_g(cavity_mm3 * (1.0 - s) ** 3, density),
        material.density_g_cm3,
        material.shrinkage,
    )

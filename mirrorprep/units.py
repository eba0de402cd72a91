"""Every conversion of units: lengths of scans to millimetres, physics to SI and back."""

import math
from typing import Final

from mirrorprep.errors import UsageError

MM_PER_UNIT: Final[dict[str, float]] = {
    "micron": 1e-3,
    "mm": 1.0,
    "cm": 10.0,
    "in": 25.4,
    "ft": 304.8,
    "m": 1000.0,
}
"""Millimetres per length unit; the inch is 25.4 mm exactly (international yard and pound agreement, 1959)."""

STANDARD_GRAVITY_M_S2: Final = 9.80665
"""Conventional standard acceleration of free fall (ISO 80000-3)."""

MM3_PER_CM3: Final = 1000.0


def mm_per_unit(unit: str) -> float:
    """Return how many millimetres one `unit` is.

    Parameters
    ----------
    unit : str
        One of ``micron``, ``mm``, ``cm``, ``in``, ``ft``, ``m``.

    Returns
    -------
    float
        Millimetres per unit.

    Raises
    ------
    UsageError
        If the unit is not known.

    Examples
    --------
    >>> mm_per_unit("in")
    25.4
    """
    try:
        return MM_PER_UNIT[unit]
    except KeyError:
        known = ", ".join(MM_PER_UNIT)
        raise UsageError(f"'{unit}' is not a length unit.", remedy=f"Use one of {known}.") from None


def mass_g(volume_mm3: float, density_g_cm3: float) -> float:
    """Return the mass in grams of a volume in mm³.

    Examples
    --------
    >>> round(mass_g(21375.396415, 1.10), 3)
    23.513
    """
    return volume_mm3 / MM3_PER_CM3 * density_g_cm3


def metres(length_mm: float) -> float:
    """Return metres from millimetres."""
    return length_mm * 1e-3


def square_metres(area_mm2: float) -> float:
    """Return m² from mm²."""
    return area_mm2 * 1e-6


def cubic_metres(volume_mm3: float) -> float:
    """Return m³ from mm³."""
    return volume_mm3 * 1e-9


def kilograms_per_cubic_metre(density_g_cm3: float) -> float:
    """Return kg/m³ from g/cm³."""
    return density_g_cm3 * 1e3


def supported_digits(value: float, uncertainty: float | None) -> str:
    """Return `value` as text with the digits that its uncertainty supports.

    The last digit kept is the leading digit of the uncertainty: ±0.1 gives one decimal, ±40 gives tens.
    Three significant digits when the uncertainty is unknown. Common practice, no source.

    Examples
    --------
    >>> supported_digits(23512.93, 480.0), supported_digits(4.0125, 0.1), supported_digits(4.0125, None)
    ('23500', '4.0', '4.01')
    """
    if uncertainty is None or not uncertainty > 0.0:
        place = 2 - math.floor(math.log10(abs(value))) if value else 0
    else:
        place = -math.floor(math.log10(uncertainty))
    rounded = round(value, place)
    return f"{rounded:.{max(place, 0)}f}"


def millimetres(length_m: float) -> float:
    """Return mm from metres."""
    return length_m * 1e3


def square_millimetres(area_m2: float) -> float:
    """Return mm² from m²."""
    return area_m2 * 1e6


def cubic_millimetres(volume_m3: float) -> float:
    """Return mm³ from m³."""
    return volume_m3 * 1e9


def kilograms(mass_g: float) -> float:
    """Return kilograms from grams."""
    return mass_g * 1e-3


def pascals(modulus_gpa: float) -> float:
    """Return Pa from GPa."""
    return modulus_gpa * 1e9


def hydrostatic_pressure_pa(density_g_cm3: float, depth_mm: float) -> float:
    """Return the pressure ρ g h at a depth below the surface of a liquid.

    Examples
    --------
    >>> round(hydrostatic_pressure_pa(1.1, 100.0)), round(hydrostatic_pressure_pa(1.7, 100.0))
    (1079, 1667)
    """
    return kilograms_per_cubic_metre(density_g_cm3) * STANDARD_GRAVITY_M_S2 * metres(depth_mm)

"""Flow through sprue and vents: viscous, inertial, and which of the two applies.

Lengths in mm, densities in g/cm³, viscosities in Pa·s; heads are heights of the liquid's surface over the
channel's exit.
"""

import math
from dataclasses import dataclass
from typing import Final

from scipy.optimize import brentq

from mirrorprep.errors import UsageError
from mirrorprep.units import (
    STANDARD_GRAVITY_M_S2,
    cubic_metres,
    cubic_millimetres,
    hydrostatic_pressure_pa,
    kilograms_per_cubic_metre,
    metres,
    millimetres,
    square_metres,
    square_millimetres,
)

LAMINAR_BELOW: Final = 2000.0
TURBULENT_ABOVE: Final = 4000.0
"""Reynolds numbers between which a pipe may flow either way: common practice."""

AIR_VISCOSITY_PA_S: Final = 1.81e-5
"""Air at room temperature, from memory."""

AIR_DENSITY_G_CM3: Final = 1.2e-3

_LAMINAR_KINETIC = 2.0
_TURBULENT_KINETIC = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Sprue:
    """A round, straight channel that narrows or widens evenly, with the liquid standing over it.

    Attributes
    ----------
    exit_diameter_mm, top_diameter_mm : float
        At the cavity and at the pouring cup.
    length_mm : float
        From cup to cavity.
    head_mm : float
        Height of the liquid's surface over the exit while pouring.
    loss : float
        Sum of loss coefficients, referred to the speed at the exit; 0 is a well-rounded entry.
    """

    exit_diameter_mm: float
    length_mm: float
    head_mm: float
    top_diameter_mm: float | None = None
    loss: float = 0.0

    def __post_init__(self) -> None:
        sizes = (self.exit_diameter_mm, self.length_mm, self.head_mm, self.top_mm)
        if not all(math.isfinite(size) and size > 0.0 for size in sizes) or self.loss < 0.0:
            raise UsageError(
                f"A sprue of {self.exit_diameter_mm:g} × {self.length_mm:g} mm under {self.head_mm:g} mm.",
                remedy="All sizes of a sprue must be above 0, its loss coefficient not below 0.",
            )

    @property
    def top_mm(self) -> float:
        """Diameter at the top."""
        return self.exit_diameter_mm if self.top_diameter_mm is None else self.top_diameter_mm

    @property
    def exit_area_mm2(self) -> float:
        """Cross-section at the cavity."""
        return math.pi * self.exit_diameter_mm**2 / 4.0

    @property
    def volume_mm3(self) -> float:
        """Volume of the frustum."""
        a, b = self.exit_diameter_mm, self.top_mm
        return math.pi * self.length_mm * (a * a + a * b + b * b) / 12.0

    def with_diameter(self, exit_diameter_mm: float) -> "Sprue":
        """Return the sprue with another exit, its top in the same proportion."""
        return Sprue(
            exit_diameter_mm=exit_diameter_mm,
            top_diameter_mm=self.top_mm * exit_diameter_mm / self.exit_diameter_mm,
            length_mm=self.length_mm,
            head_mm=self.head_mm,
            loss=self.loss,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Flow:
    """How a liquid runs through a channel.

    Attributes
    ----------
    rate_mm3_s : float
        Volume per second.
    speed_m_s : float
        Mean speed at the exit.
    reynolds : float
        At the exit.
    regime : str
        ``viscous`` (friction takes over 95 % of the head), ``mixed`` (laminar, but inertia counts),
        ``transition`` or ``turbulent``.
    """

    rate_mm3_s: float
    speed_m_s: float
    reynolds: float
    regime: str

    def as_dict(self) -> dict[str, object]:
        """Return plain data for JSON."""
        return {
            "rate_mm3_s": self.rate_mm3_s,
            "speed_m_s": self.speed_m_s,
            "reynolds": self.reynolds,
            "regime": self.regime,
        }


def reynolds_number(
    speed_m_s: float, diameter_mm: float, density_g_cm3: float, viscosity_pa_s: float
) -> float:
    """Return ρ v d / η.

    Examples
    --------
    >>> round(reynolds_number(0.1, 10.0, 1.0, 0.001))
    1000
    """
    return kilograms_per_cubic_metre(density_g_cm3) * speed_m_s * metres(diameter_mm) / viscosity_pa_s


def torricelli_speed_m_s(head_mm: float, loss: float = 0.0) -> float:
    """Return √(2 g h / (1 + ΣK)), the speed of a liquid without viscosity.

    Examples
    --------
    >>> round(torricelli_speed_m_s(250.0), 2)
    2.21
    """
    return math.sqrt(2.0 * STANDARD_GRAVITY_M_S2 * metres(head_mm) / (1.0 + loss))


def inertial_rate_mm3_s(sprue: Sprue, *, density_g_cm3: float, viscosity_pa_s: float) -> float:
    """Return the rate by Torricelli's law, or refuse where viscosity rules.

    Raises
    ------
    UsageError
        If the Reynolds number that follows is below 2000.

    Examples
    --------
    >>> cast_iron = {"density_g_cm3": 7.0, "viscosity_pa_s": 0.005}
    >>> round(inertial_rate_mm3_s(Sprue(exit_diameter_mm=10, length_mm=250, head_mm=250), **cast_iron) / 1739)
    100
    """
    speed = torricelli_speed_m_s(sprue.head_mm, sprue.loss)
    reynolds = reynolds_number(speed, sprue.exit_diameter_mm, density_g_cm3, viscosity_pa_s)
    if reynolds < LAMINAR_BELOW:
        raise UsageError(
            f"Torricelli's law does not hold at a Reynolds number of {reynolds:.3g} (it needs "
            f"{LAMINAR_BELOW:g}).",
            remedy="Use the viscous law, or let sprue_flow choose.",
        )
    return cubic_millimetres(speed * square_metres(sprue.exit_area_mm2))


def viscous_resistance(diameter_mm: float, length_mm: float, top_diameter_mm: float | None = None) -> float:
    """Return Δp / (η Q) in m⁻³: 8 L / (π r⁴), integrated along a frustum.

    Notes
    -----
    Hagen–Poiseuille for a slowly varying radius: ∫dx/r⁴ = L (a² + a b + b²) / (3 a³ b³).
    """
    a = metres(diameter_mm) / 2.0
    b = a if top_diameter_mm is None else metres(top_diameter_mm) / 2.0
    return 8.0 * metres(length_mm) / math.pi * (a * a + a * b + b * b) / (3.0 * a**3 * b**3)


def viscous_pressure_pa(
    rate_mm3_s: float, *, diameter_mm: float, length_mm: float, viscosity_pa_s: float
) -> float:
    """Return the pressure 8 η L Q / (π r⁴) that drives a rate through a round channel (Hagen–Poiseuille).

    Examples
    --------
    >>> air = {"diameter_mm": 1.0, "length_mm": 10.0, "viscosity_pa_s": 1.81e-5}
    >>> round(viscous_pressure_pa(1000.0, **air), 2)
    7.37
    """
    return viscosity_pa_s * cubic_metres(rate_mm3_s) * viscous_resistance(diameter_mm, length_mm)


def viscous_rate_mm3_s(sprue: Sprue, *, density_g_cm3: float, viscosity_pa_s: float) -> float:
    """Return the rate by the law of Hagen and Poiseuille, or refuse where inertia rules.

    Raises
    ------
    UsageError
        If the Reynolds number that follows is above 2000.

    Examples
    --------
    >>> sprue = Sprue(exit_diameter_mm=8, length_mm=30, head_mm=40)
    >>> round(25_000 / viscous_rate_mm3_s(sprue, density_g_cm3=1.1, viscosity_pa_s=5.0), 1)
    86.4
    """
    pressure = hydrostatic_pressure_pa(density_g_cm3, sprue.head_mm)
    rate = pressure / (
        viscosity_pa_s * viscous_resistance(sprue.exit_diameter_mm, sprue.length_mm, sprue.top_mm)
    )
    speed = rate / square_metres(sprue.exit_area_mm2)
    reynolds = reynolds_number(speed, sprue.exit_diameter_mm, density_g_cm3, viscosity_pa_s)
    if reynolds > LAMINAR_BELOW:
        raise UsageError(
            f"The viscous law does not hold at a Reynolds number of {reynolds:.3g} (its limit is "
            f"{LAMINAR_BELOW:g}).",
            remedy="Use Torricelli's law, or let sprue_flow choose.",
        )
    return cubic_millimetres(rate)


def sprue_flow(sprue: Sprue, *, density_g_cm3: float, viscosity_pa_s: float) -> Flow:
    """Return the flow from the balance of head, friction and kinetic energy.

    Parameters
    ----------
    sprue : Sprue
        Channel and head.
    density_g_cm3, viscosity_pa_s : float
        Of the liquid.

    Returns
    -------
    Flow
        Rate and regime.

    Notes
    -----
    ρ g h = η R Q + (α + ΣK) ρ v² / 2 with R from `viscous_resistance` and α = 2 while laminar; turbulent,
    α = 1 and the friction factor 0.316 Re^−¼ (Blasius). It becomes the law of Hagen and Poiseuille for thick
    liquids and Torricelli's for thin ones. Between Reynolds numbers 2000 and 4000 the laminar balance is
    kept and the regime named ``transition``.

    Examples
    --------
    >>> sprue = Sprue(exit_diameter_mm=8, length_mm=30, head_mm=40)
    >>> sprue_flow(sprue, density_g_cm3=1.1, viscosity_pa_s=5.0).regime
    'viscous'
    """
    if not (density_g_cm3 > 0.0 and viscosity_pa_s > 0.0):
        raise UsageError(
            f"A density of {density_g_cm3:g} g/cm³ and a viscosity of {viscosity_pa_s:g} Pa·s.",
            remedy="Both must be above 0.",
        )
    pressure = hydrostatic_pressure_pa(density_g_cm3, sprue.head_mm)
    area = square_metres(sprue.exit_area_mm2)
    friction = (
        viscosity_pa_s * viscous_resistance(sprue.exit_diameter_mm, sprue.length_mm, sprue.top_mm) * area
    )
    inertia = (_LAMINAR_KINETIC + sprue.loss) * kilograms_per_cubic_metre(density_g_cm3) / 2.0
    speed = 2.0 * pressure / (friction + math.sqrt(friction**2 + 4.0 * inertia * pressure))
    reynolds = reynolds_number(speed, sprue.exit_diameter_mm, density_g_cm3, viscosity_pa_s)
    if reynolds <= TURBULENT_ABOVE:
        share = friction * speed / pressure
        regime = "transition" if reynolds > LAMINAR_BELOW else "viscous" if share > 0.95 else "mixed"
    else:
        speed = _turbulent_speed_m_s(sprue, pressure, density_g_cm3, viscosity_pa_s)
        reynolds = reynolds_number(speed, sprue.exit_diameter_mm, density_g_cm3, viscosity_pa_s)
        regime = "turbulent"
    return Flow(rate_mm3_s=cubic_millimetres(speed * area), speed_m_s=speed, reynolds=reynolds, regime=regime)


def _turbulent_speed_m_s(
    sprue: Sprue, pressure_pa: float, density_g_cm3: float, viscosity_pa_s: float
) -> float:
    rho = kilograms_per_cubic_metre(density_g_cm3)
    slender = sprue.length_mm / sprue.exit_diameter_mm

    def excess(speed: float) -> float:
        reynolds = reynolds_number(speed, sprue.exit_diameter_mm, density_g_cm3, viscosity_pa_s)
        factor = 0.316 * slender / math.sqrt(math.sqrt(reynolds))
        return (_TURBULENT_KINETIC + sprue.loss + factor) * rho * speed * speed / 2.0 - pressure_pa

    fastest = math.sqrt(2.0 * pressure_pa / rho)
    return float(brentq(excess, 1e-6 * fastest, fastest, xtol=1e-12))


def exit_area_mm2(rate_mm3_s: float, head_mm: float) -> float:
    """Return the cross-section that a freely falling stream of this rate has after the head: Q / √(2 g h).

    A sprue no wider than this at its foot runs full.

    Examples
    --------
    >>> round(exit_area_mm2(1e6, 175.0))
    540
    """
    return square_millimetres(cubic_metres(rate_mm3_s) / torricelli_speed_m_s(head_mm))


def taper_ratio(top_depth_mm: float, exit_depth_mm: float) -> float:
    """Return A_top / A_exit = √(h_exit / h_top) of a sprue that does not draw in air.

    Depths are measured from the liquid's surface (continuity and Bernoulli).

    Examples
    --------
    >>> taper_ratio(50.0, 200.0)
    2.0
    """
    return math.sqrt(exit_depth_mm / top_depth_mm)


def bubble_rise_mm_s(diameter_mm: float, *, density_g_cm3: float, viscosity_pa_s: float) -> float:
    """Return the speed g ρ d² / (18 η) of a small bubble with a rigid surface (Stokes).

    A clean bubble rises up to 1.5 times as fast. Valid for Reynolds numbers well below 1.

    Examples
    --------
    >>> round(bubble_rise_mm_s(1.0, density_g_cm3=1.1, viscosity_pa_s=5.0), 2)
    0.12
    """
    rho = kilograms_per_cubic_metre(density_g_cm3)
    return millimetres(STANDARD_GRAVITY_M_S2 * rho * metres(diameter_mm) ** 2 / (18.0 * viscosity_pa_s))

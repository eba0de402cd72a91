"""Fill time: how long the cavity takes, and the sprue that fills it within a share of the pot life."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq

from mirrorprep.errors import UsageError
from mirrorprep.geometry.cavity_columns import cavity_columns, used_vertices
from mirrorprep.geometry.mass_properties import signed_volume_mm3
from mirrorprep.pour.channel_flow import (
    Flow,
    Sprue,
    inertial_rate_mm3_s,
    sprue_flow,
    torricelli_speed_m_s,
    viscous_rate_mm3_s,
    viscous_resistance,
)
from mirrorprep.pour.materials import Material
from mirrorprep.pour.ranges import Range, combined
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.units import STANDARD_GRAVITY_M_S2, kilograms_per_cubic_metre, metres, square_metres

FloatArray = NDArray[np.float64]

POT_LIFE_SHARE = 0.25
"""Share of the pot life in which the mould shall be full; mixing and degassing take the rest.
Common practice, no source."""

_PROFILE_CELLS = 96
SPRUE_LIMITS_MM = (2.0, 40.0)
LEAST_HEAD_MM = 1.0
"""Below this head the liquid is taken to be topped up by hand."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FillProfile:
    """How much liquid the mould holds below each level.

    Attributes
    ----------
    level_mm : tuple of float
        Heights over the lowest point of the cavity, rising.
    volume_mm3 : tuple of float
        Liquid below each.
    exit_mm : float
        Height of the sprue's exit.
    """

    level_mm: tuple[float, ...]
    volume_mm3: tuple[float, ...]
    exit_mm: float

    @classmethod
    def from_above(cls, volume_mm3: float) -> "FillProfile":
        """Return the profile of a cavity whose sprue ends above it: nothing presses back."""
        return cls(level_mm=(0.0, 1.0), volume_mm3=(0.0, volume_mm3), exit_mm=1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class FillTime:
    """How long filling takes.

    Attributes
    ----------
    time_s : Range
        Over the material's viscosity and density.
    flow : Flow
        At the start, with typical figures.
    sprue : Sprue
        As assumed.
    """

    time_s: Range
    flow: Flow
    sprue: Sprue


def fill_time_s(profile: FillProfile, sprue: Sprue, *, density_g_cm3: float, viscosity_pa_s: float) -> float:
    """Return the time to fill a cavity through a sprue under a constant surface in the cup.

    Parameters
    ----------
    profile : FillProfile
        Of the cavity; above the sprue's exit the risen liquid presses back.
    sprue : Sprue
        Its head is that over the exit.
    density_g_cm3, viscosity_pa_s : float
        Of the liquid.

    Returns
    -------
    float
        Seconds. The rate follows `sprue_flow` at each level. The last millimetre of head is not used: a
        level that would have to rise above it is topped up by hand at that rate.

    Examples
    --------
    >>> sprue = Sprue(exit_diameter_mm=8, length_mm=30, head_mm=40)
    >>> round(fill_time_s(FillProfile.from_above(25e3), sprue, density_g_cm3=1.1, viscosity_pa_s=1.0), 1)
    17.3
    """
    levels, volumes = _refined(profile)
    middle = (levels[:-1] + levels[1:]) / 2.0
    heads = sprue.head_mm - np.maximum(middle - profile.exit_mm, 0.0)
    heads = np.maximum(heads, min(LEAST_HEAD_MM, sprue.head_mm))
    known: dict[float, float] = {}
    total = 0.0
    for head, volume in zip(heads.tolist(), np.diff(volumes).tolist(), strict=True):
        if volume <= 0.0:
            continue
        if head not in known:
            at_head = Sprue(
                exit_diameter_mm=sprue.exit_diameter_mm,
                top_diameter_mm=sprue.top_diameter_mm,
                length_mm=sprue.length_mm,
                head_mm=head,
                loss=sprue.loss,
            )
            flow = sprue_flow(at_head, density_g_cm3=density_g_cm3, viscosity_pa_s=viscosity_pa_s)
            known[head] = flow.rate_mm3_s
        total += volume / known[head]
    return total


def _refined(profile: FillProfile, steps: int = 64) -> tuple[FloatArray, FloatArray]:
    """Return the profile on even levels and the exit's level."""
    levels = np.asarray(profile.level_mm, dtype=np.float64)
    even = np.linspace(levels[0], levels[-1], steps + 1)
    inside = levels[0] < profile.exit_mm < levels[-1]
    fine = np.union1d(even, [profile.exit_mm]) if inside else even
    return fine, np.interp(fine, levels, profile.volume_mm3)


def fill_time(profile: FillProfile, sprue: Sprue, material: Material) -> FillTime:
    """Return the fill time over the ranges of a material's density and viscosity."""
    time = combined(
        lambda density, viscosity: fill_time_s(
            profile, sprue, density_g_cm3=density, viscosity_pa_s=viscosity
        ),
        material.liquid_density_g_cm3,
        material.viscosity_pa_s,
    )
    flow = sprue_flow(
        sprue,
        density_g_cm3=material.liquid_density_g_cm3.typical,
        viscosity_pa_s=material.viscosity_pa_s.typical,
    )
    return FillTime(time_s=time, flow=flow, sprue=sprue)


def sprue_diameter_mm(
    profile: FillProfile, sprue: Sprue, *, time_s: float, density_g_cm3: float, viscosity_pa_s: float
) -> float | None:
    """Return the least exit diameter that fills the cavity in the given time.

    Parameters
    ----------
    profile, sprue, density_g_cm3, viscosity_pa_s
        As in `fill_time_s`; the sprue keeps its length, head and taper.
    time_s : float
        Time allowed.

    Returns
    -------
    float or None
        Diameter within 2 to 40 mm; None when 40 mm is not enough.

    Examples
    --------
    >>> sprue = Sprue(exit_diameter_mm=8, length_mm=30, head_mm=40)
    >>> thick = {"density_g_cm3": 1.1, "viscosity_pa_s": 5.0}
    >>> round(sprue_diameter_mm(FillProfile.from_above(25e3), sprue, time_s=86.42, **thick), 2)
    8.0
    """

    def late(diameter: float) -> float:
        wider = sprue.with_diameter(diameter)
        taken = fill_time_s(profile, wider, density_g_cm3=density_g_cm3, viscosity_pa_s=viscosity_pa_s)
        return math.log(taken / time_s)

    low, high = SPRUE_LIMITS_MM
    if late(high) > 0.0:
        return None
    return low if late(low) <= 0.0 else float(brentq(late, low, high, xtol=1e-4))


def inertial_fill_time_s(
    volume_mm3: float, sprue: Sprue, *, density_g_cm3: float, viscosity_pa_s: float
) -> float:
    """Return V / Q by Torricelli's law; refuses a viscous liquid."""
    return volume_mm3 / inertial_rate_mm3_s(sprue, density_g_cm3=density_g_cm3, viscosity_pa_s=viscosity_pa_s)


def viscous_fill_time_s(
    volume_mm3: float, sprue: Sprue, *, density_g_cm3: float, viscosity_pa_s: float
) -> float:
    """Return V / Q by the law of Hagen and Poiseuille; refuses a thin liquid."""
    return volume_mm3 / viscous_rate_mm3_s(sprue, density_g_cm3=density_g_cm3, viscosity_pa_s=viscosity_pa_s)


def bottom_gate_time_s(area_ratio: float, *, head_mm: float, height_mm: float) -> float:
    """Return the time to fill an upright box through a gate in its floor, without viscosity.

    t = 2 (A_m / A_g) (√H − √(H − h_m)) / √(2 g), from Torricelli's law with the head falling as the box
    fills.

    Raises
    ------
    UsageError
        If the box is higher than the head.

    Examples
    --------
    >>> round(bottom_gate_time_s(100.0, head_mm=200.0, height_mm=100.0), 2)
    5.92
    """
    if not 0.0 < height_mm <= head_mm:
        raise UsageError(
            f"A head of {head_mm:g} mm cannot fill a height of {height_mm:g} mm.",
            remedy="Raise the pouring cup above the cavity.",
        )
    fall = math.sqrt(metres(head_mm)) - math.sqrt(metres(head_mm - height_mm))
    return 2.0 * area_ratio * fall / math.sqrt(2.0 * STANDARD_GRAVITY_M_S2)


def drain_time_s(area_ratio: float, head_mm: float) -> float:
    """Return the time (A₀ / A) √(2 h / g) in which an upright tank runs out of a hole in its floor.

    Examples
    --------
    >>> round(drain_time_s(100.0, 200.0), 1)
    20.2
    """
    return area_ratio * 2.0 * metres(head_mm) / torricelli_speed_m_s(head_mm)


def falling_head_time_s(
    cup_area_mm2: float,
    sprue: Sprue,
    *,
    heads_mm: Sequence[float],
    density_g_cm3: float,
    viscosity_pa_s: float,
) -> float:
    """Return the time in which the surface in an upright cup falls from one head to another, viscous.

    t = 8 η L A / (π r⁴ ρ g) · ln(h₁ / h₂): the law of Hagen and Poiseuille with the head it leaves.

    Raises
    ------
    UsageError
        If the heads do not fall, or the flow is not viscous at the first.

    Examples
    --------
    >>> sprue = Sprue(exit_diameter_mm=8, length_mm=30, head_mm=60)
    >>> thick = {"density_g_cm3": 1.1, "viscosity_pa_s": 5.0}
    >>> round(falling_head_time_s(400 * 3.14159265, sprue, heads_mm=(60, 30), **thick))
    120
    """
    first, last = heads_mm
    if not first > last > 0.0:
        raise UsageError(f"Heads of {first:g} and {last:g} mm.", remedy="Give a falling pair above 0.")
    start = Sprue(
        exit_diameter_mm=sprue.exit_diameter_mm,
        top_diameter_mm=sprue.top_diameter_mm,
        length_mm=sprue.length_mm,
        head_mm=first,
    )
    viscous_rate_mm3_s(start, density_g_cm3=density_g_cm3, viscosity_pa_s=viscosity_pa_s)
    resistance = viscosity_pa_s * viscous_resistance(sprue.exit_diameter_mm, sprue.length_mm, sprue.top_mm)
    weight = kilograms_per_cubic_metre(density_g_cm3) * STANDARD_GRAVITY_M_S2
    return resistance * square_metres(cup_area_mm2) / weight * math.log(first / last)


def free_fall_mm(profile: FillProfile) -> float:
    """Return how far the stream falls inside the cavity before it meets the floor."""
    return max(0.0, profile.exit_mm - profile.level_mm[0])


def fill_profile(cavity: ScanMesh, *, pour_up: ArrayLike, exit_mm: float | None = None) -> FillProfile:
    """Return how much liquid the cavity holds below each level.

    Parameters
    ----------
    cavity : ScanMesh
        Closed.
    pour_up : (3,) array_like
        Against gravity.
    exit_mm : float, optional
        Height of the sprue's exit along `pour_up` from the origin; the cavity's top without.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import box
    >>> profile = fill_profile(box([10, 20, 40]).mesh, pour_up=(0, 0, 1), exit_mm=-20.0)
    >>> profile.exit_mm, round(profile.volume_mm3[-1] / 8000.0, 2)
    (0.0, 1.0)
    """
    points = used_vertices(cavity.vertices, cavity.faces)
    spacing = float(np.linalg.norm(np.ptp(points, axis=0))) / _PROFILE_CELLS
    columns = cavity_columns(cavity.vertices, cavity.faces, up=pour_up, spacing_mm=spacing)
    bottom, top = float(columns.bottom_mm.min()), float(columns.top_mm.max())
    levels = np.linspace(bottom, top, _PROFILE_CELLS + 1)
    below = np.array([np.clip(level, columns.bottom_mm, columns.top_mm).sum() for level in levels])
    volume = (below - below[0]) * signed_volume_mm3(cavity.vertices, cavity.faces) / (below[-1] - below[0])
    return FillProfile(
        level_mm=tuple((levels - bottom).tolist()),
        volume_mm3=tuple(volume.tolist()),
        exit_mm=(top if exit_mm is None else float(exit_mm)) - bottom,
    )

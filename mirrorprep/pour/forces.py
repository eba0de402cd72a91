"""Forces: what the liquid does to the halves, and what holds against it."""

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import ArrayLike
from scipy.spatial import ConvexHull

from mirrorprep.errors import UsageError
from mirrorprep.geometry.cavity_columns import cavity_columns, used_vertices
from mirrorprep.pour.ranges import Range
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.units import (
    STANDARD_GRAVITY_M_S2,
    cubic_metres,
    hydrostatic_pressure_pa,
    kilograms_per_cubic_metre,
    metres,
    millimetres,
    pascals,
    square_metres,
)

CLAMP_FACTOR: Final = 2.0
"""Clamp load over lifting force: common practice, no source."""

DEFLECTION_SHARE: Final = 0.2
"""Share of the tolerance that the wall may bend: common practice, no source."""

PRINTED_MODULUS_GPA: Final = Range(1.0, 2.0, 3.5)
"""Young's modulus of printed polymers: from memory."""

PRINTED_POISSON: Final = 0.38
"""Poisson's ratio of printed polymers: from memory."""

_COLUMNS_ACROSS = 200
_SERIES_TERMS = 39


@dataclass(frozen=True, slots=True, kw_only=True)
class Separation:
    """How the liquid pushes the halves apart.

    Attributes
    ----------
    projected_area_mm2 : float
        Shadow of the cavity along the pull direction.
    span_mm : (float, float)
        Extent of that shadow, the longer side first.
    mean_head_mm : float
        Height of the liquid's surface over the loaded surface, averaged over the shadow.
    force_per_density : float
        Newtons per g/cm³.
    """

    projected_area_mm2: float
    span_mm: tuple[float, float]
    mean_head_mm: float
    force_per_density: float

    def force_n(self, density_g_cm3: Range) -> Range:
        """Return the lifting force for a liquid."""
        return density_g_cm3.scaled(self.force_per_density)

    def over_area(self, projected_area_mm2: float) -> "Separation":
        """Return the same head over another area."""
        return replace(
            self,
            projected_area_mm2=projected_area_mm2,
            force_per_density=lifting_force_n(1.0, self.mean_head_mm, projected_area_mm2),
        )


def lifting_force_n(density_g_cm3: float, head_mm: float, projected_area_mm2: float) -> float:
    """Return ρ g h A, the lift on an upper half over a cavity wholly below the parting.

    Examples
    --------
    >>> round(lifting_force_n(1.1, 80.0, 3.14159265 * 30 * 20), 2)
    1.63
    """
    return hydrostatic_pressure_pa(density_g_cm3, head_mm) * square_metres(projected_area_mm2)


def core_buoyancy_n(volume_mm3: float, liquid_density_g_cm3: float, core_density_g_cm3: float = 0.0) -> float:
    """Return the upward force on a core held in the liquid: weight of the liquid displaced less its own.

    With the default density it is what the core passes on to the half that holds it, its own weight not
    counted.

    Examples
    --------
    >>> round(core_buoyancy_n(3_698_000, 7.82, 1.6))
    226
    """
    density = kilograms_per_cubic_metre(liquid_density_g_cm3 - core_density_g_cm3)
    return cubic_metres(volume_mm3) * density * STANDARD_GRAVITY_M_S2


def separation(
    cavity: ScanMesh, *, pull_direction: ArrayLike, pour_up: ArrayLike, surface_height_mm: float
) -> Separation:
    """Return what pushes the half on the upper side of the parting away, from the cavity's mesh.

    Parameters
    ----------
    cavity : ScanMesh
        Closed.
    pull_direction : (3,)
        Along which the halves part; its sign is taken upward.
    pour_up : (3,)
        Against gravity.
    surface_height_mm : float
        Height of the liquid's surface along `pour_up`, from the origin of the coordinates.

    Returns
    -------
    Separation
        Force per density, area and head.

    Raises
    ------
    UsageError
        If the surface lies below the cavity's top.

    Notes
    -----
    F = ρ g ∫ (H − z) dA over the shadow along the pull, with z the height of the cavity's wall that faces
    away along the pull. For a horizontal parting with the cavity wholly below it this is ρ g h A (cope
    lifting, foundry encyclopaedia entry); what hangs from the upper half as a core is counted by the same
    integral. For an upright parting it is the side thrust.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import box
    >>> block = box([150, 100, 50], center_mm=(0, 0, -25)).mesh
    >>> up = (0, 0, 1)
    >>> lift = separation(block, pull_direction=up, pour_up=up, surface_height_mm=50.0)
    >>> bool(abs(lift.force_n(Range.of(1.0)).typical / lifting_force_n(1.0, 50.0, 15000.0) - 1) < 0.01)
    True
    """
    pull, up = _unit(pull_direction, "pull direction"), _unit(pour_up, "pour direction")
    if float(pull @ up) < 0.0:
        pull = -pull
    points = used_vertices(cavity.vertices, cavity.faces)
    top = float((points @ up).max())
    if surface_height_mm < top - 1e-6:
        raise UsageError(
            f"The liquid's surface at {surface_height_mm:.4g} mm lies below the cavity's top, {top:.4g} mm.",
            remedy="Raise the pouring cup above the cavity.",
        )
    spacing = float(np.linalg.norm(np.ptp(points, axis=0))) / _COLUMNS_ACROSS
    columns = cavity_columns(cavity.vertices, cavity.faces, up=pull, spacing_mm=spacing)
    outermost = np.flatnonzero(np.diff(columns.column, append=-1))
    heads = surface_height_mm - columns.points_mm(outermost, columns.top_mm[outermost]) @ up
    area = len(outermost) * spacing**2
    mean = float(heads.mean())
    return Separation(
        projected_area_mm2=area,
        span_mm=_least_box(points @ columns.frame[:2].T),
        mean_head_mm=mean,
        force_per_density=lifting_force_n(1.0, mean, area),
    )


def _least_box(plan: np.ndarray) -> tuple[float, float]:
    """Return the sides, longer first, of the box of least area: one side lies along the convex hull."""
    plan = plan[ConvexHull(plan).vertices]
    edges = np.roll(plan, -1, axis=0) - plan
    angle = np.arctan2(edges[:, 1], edges[:, 0])
    turned = np.stack([np.cos(angle), np.sin(angle)])
    u = np.ptp(plan @ turned, axis=0)
    v = np.ptp(plan @ np.stack([-turned[1], turned[0]]), axis=0)
    best = int(np.argmin(u * v))
    sides = sorted((float(u[best]), float(v[best])))
    return sides[1], sides[0]


def _unit(direction: ArrayLike, name: str) -> np.ndarray:
    vector = np.asarray(direction, dtype=np.float64)
    length = float(np.linalg.norm(vector)) if vector.shape == (3,) else 0.0
    if not np.isfinite(length) or length == 0.0:
        raise UsageError(f"The {name} is {vector.tolist()}.", remedy="Give three numbers, not all zero.")
    return np.asarray(vector / length)


def holding_mass_kg(force_n: float) -> float:
    """Return the mass whose weight is the force.

    Examples
    --------
    >>> round(holding_mass_kg(9.80665), 9)
    1.0
    """
    return force_n / STANDARD_GRAVITY_M_S2


def plate_deflection_mm(
    pressure_pa: float,
    *,
    sides_mm: tuple[float, float],
    thickness_mm: float,
    modulus_gpa: float,
    poisson: float = PRINTED_POISSON,
) -> float:
    """Return the deflection at the middle of a simply supported rectangular plate under even pressure.

    Parameters
    ----------
    pressure_pa : float
        Even pressure.
    sides_mm : (float, float)
        Unsupported lengths.
    thickness_mm, modulus_gpa, poisson : float
        Of the plate.

    Returns
    -------
    float
        Deflection, mm.

    Notes
    -----
    Navier's double series, w = 16 q / (π⁶ D) Σ Σ sin(mπ/2) sin(nπ/2) / (m n (m²/a² + n²/b²)²) over odd m, n,
    D = E t³ / 12 (1 − ν²) (Timoshenko and Woinowsky-Krieger, Theory of Plates and Shells, chapter 5; from
    memory). Thin plate, small deflection. A real shell is curved and held at its flange, so it bends less.

    Examples
    --------
    >>> plate = {"sides_mm": (100.0, 100.0), "thickness_mm": 6.0, "modulus_gpa": 2.0}
    >>> round(plate_deflection_mm(1000.0, **plate), 4)
    0.0097
    """
    a, b = (metres(side) for side in sides_mm)
    if not (min(a, b) > 0.0 and thickness_mm > 0.0 and modulus_gpa > 0.0 and pressure_pa >= 0.0):
        raise UsageError(
            f"A plate of {sides_mm[0]:g} × {sides_mm[1]:g} × {thickness_mm:g} mm of {modulus_gpa:g} GPa.",
            remedy="All sizes and the modulus must be above 0.",
        )
    stiffness = pascals(modulus_gpa) * metres(thickness_mm) ** 3 / (12.0 * (1.0 - poisson**2))
    odd = np.arange(1, _SERIES_TERMS + 1, 2)
    sign = np.where(odd % 4 == 1, 1.0, -1.0)
    m, n = odd[:, None], odd[None, :]
    terms = np.outer(sign, sign) / (m * n * ((m / a) ** 2 + (n / b) ** 2) ** 2)
    return float(millimetres(16.0 * pressure_pa / (math.pi**6 * stiffness) * float(terms.sum())))

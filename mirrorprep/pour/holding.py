"""Holding: lifting force, clamp load and the bending of a shell's wall, for one request."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mirrorprep.geometry.cavity_columns import upright_frame, used_vertices
from mirrorprep.pour.forces import Separation, holding_mass_kg, plate_deflection_mm, separation
from mirrorprep.pour.ranges import Range, combined
from mirrorprep.pour.request import PourRequest
from mirrorprep.units import STANDARD_GRAVITY_M_S2, hydrostatic_pressure_pa, kilograms

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Holding:
    """What the liquid does to the mould and what holds it.

    Attributes
    ----------
    separation : Separation
        Area, head and force per density.
    lifting_force_n : Range
        That drives the halves apart.
    weight_n : float
        Weight of the lifted half that acts against it; 0 for an upright parting or when unknown.
    clamp_load_n : float
        Factor times the highest lifting force less the weight.
    clamp_factor : float
        As stated.
    holding_mass_kg : float
        Mass whose weight is the clamp load, for a flat parting.
    load_per_bolt_n : float or None
        Clamp load over the number of bolts.
    pressure_pa : Range
        At the lowest point of the cavity.
    wall_deflection_mm : Range or None
        Of a flat, simply supported wall over the whole shadow: an upper estimate. None for a block.
    """

    separation: Separation
    lifting_force_n: Range
    weight_n: float
    clamp_load_n: float
    clamp_factor: float
    holding_mass_kg: float
    load_per_bolt_n: float | None
    pressure_pa: Range
    wall_deflection_mm: Range | None

    def as_dict(self) -> dict[str, object]:
        """Return plain data for JSON."""
        bending = self.wall_deflection_mm
        return {
            "projected_area_mm2": self.separation.projected_area_mm2,
            "mean_head_mm": self.separation.mean_head_mm,
            "lifting_force_range_n": self.lifting_force_n.as_dict(),
            "weight_n": self.weight_n,
            "clamp_load_n": self.clamp_load_n,
            "clamp_factor": self.clamp_factor,
            "holding_mass_kg": self.holding_mass_kg,
            "load_per_bolt_n": self.load_per_bolt_n,
            "pressure_range_pa": self.pressure_pa.as_dict(),
            "wall_deflection_range_mm": None if bending is None else bending.as_dict(),
        }


def plan_holding(request: PourRequest, *, up: FloatArray, surface_mm: float) -> Holding:
    """Return the forces for a request poured along `up` with the liquid's surface at a height along it."""
    density = request.resolved_material.liquid_density_g_cm3
    mesh = request.cavity.mesh
    pull = upright_frame(up)[0] if request.pull_direction is None else request.pull_direction
    found = separation(mesh, pull_direction=pull, pour_up=up, surface_height_mm=surface_mm)
    if request.projected_area_mm2 is not None:
        found = found.over_area(request.projected_area_mm2)
    lifting = found.force_n(density)
    weight = _weight_n(request, up)
    clamp = max(0.0, request.clamp_factor * lifting.high - weight)
    depth = surface_mm - float((used_vertices(mesh.vertices, mesh.faces) @ up).min())
    pressure = combined(lambda d: hydrostatic_pressure_pa(d, depth), density)
    return Holding(
        separation=found,
        lifting_force_n=lifting,
        weight_n=weight,
        clamp_load_n=clamp,
        clamp_factor=request.clamp_factor,
        holding_mass_kg=holding_mass_kg(clamp),
        load_per_bolt_n=clamp / request.bolts if request.bolts else None,
        pressure_pa=pressure,
        wall_deflection_mm=_bending_mm(request, found, pressure),
    )


def _weight_n(request: PourRequest, up: FloatArray) -> float:
    """Return the part of the lifted half's weight that acts along the pull."""
    if request.upper_half_mass_g is None or request.pull_direction is None:
        return 0.0
    pull = np.asarray(request.pull_direction, dtype=np.float64)
    share = abs(float(pull @ up)) / float(np.linalg.norm(pull))
    return kilograms(request.upper_half_mass_g) * STANDARD_GRAVITY_M_S2 * share


def _bending_mm(request: PourRequest, found: Separation, pressure: Range) -> Range | None:
    wall = request.wall_mm
    if wall is None:
        return None
    return combined(
        lambda q, modulus: plate_deflection_mm(
            q, sides_mm=found.span_mm, thickness_mm=wall, modulus_gpa=modulus
        ),
        pressure,
        request.wall_modulus_gpa,
    )

"""Filling: which way up, where air stays, how long it takes, for one request."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from mirrorprep.geometry.air_pockets import AirAnalysis, LevelState, level_states, trapped_air
from mirrorprep.geometry.cavity_columns import upright_frame, used_vertices
from mirrorprep.geometry.pour_direction import (
    PourDirections,
    best_pour_direction,
    directions_in_plane,
    directions_on_sphere,
)
from mirrorprep.geometry.vent_places import POCKET_LIMIT_MM3, place_vents
from mirrorprep.pour.channel_flow import (
    AIR_DENSITY_G_CM3,
    AIR_VISCOSITY_PA_S,
    Sprue,
    bubble_rise_mm_s,
    viscous_resistance,
)
from mirrorprep.pour.fill_time import FillProfile, FillTime, fill_profile, fill_time, sprue_diameter_mm
from mirrorprep.pour.request import ASSUMED_SPRUE, Point, PourRequest, Vent
from mirrorprep.progress import Progress
from mirrorprep.units import cubic_metres, kilograms_per_cubic_metre, square_metres

FloatArray = NDArray[np.float64]

_SPHERE_DIRECTIONS = 128
_LEVEL_CEILING_DEG = 3.0
_BUBBLE_MM = 1.0
_VENT_LOSS = 1.5
"""Entry and exit of a short pipe together, in velocity heads: common practice."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Filling:
    """How the cavity fills.

    Attributes
    ----------
    up : (3,) float64
        Unit vector against gravity.
    directions : PourDirections or None
        The search, when the direction was not given.
    air : AirAnalysis
        With all openings.
    advised_vents_mm : tuple of points
        Places that still need a vent.
    left_mm3 : float
        Largest pocket that is left once the advised vents are there too.
    levels : tuple of LevelState
        At 10, 25, 50, 75 and 100 %.
    height_mm : float
        Of the cavity along up.
    surface_mm : float
        Height of the liquid's surface in the cup along up, from the origin.
    time : FillTime
        Through the sprue given or assumed.
    sprue_assumed : bool
        True when no sprue was known.
    advised_sprue_mm : float or None
        Exit diameter that fills within the share of the pot life; None when unknown or not reachable.
    free_fall_mm : float
        Fall of the stream inside the cavity.
    vent_pressure_pa : float or None
        What it takes to drive the air out of the vents; None without vents.
    bubble_time_s : float
        Time in which a bubble of 1 mm rises through the cavity, typical viscosity.
    level_ceiling_mm2 : float
        Ceiling within 3 degrees of level, under which bubbles stay.
    """

    up: FloatArray
    directions: PourDirections | None
    air: AirAnalysis
    advised_vents_mm: tuple[Point, ...]
    left_mm3: float
    levels: tuple[LevelState, ...]
    height_mm: float
    surface_mm: float
    time: FillTime
    sprue_assumed: bool
    advised_sprue_mm: float | None
    free_fall_mm: float
    vent_pressure_pa: float | None
    bubble_time_s: float
    level_ceiling_mm2: float


def plan_filling(request: PourRequest, *, progress: Progress) -> Filling:
    """Return how the cavity of a request fills."""
    up, directions = _choose_up(request, progress)
    progress.step("trapped air", 0.5)
    air, advised, left = _find_air(request, up)
    mesh = request.cavity.mesh
    heights = used_vertices(mesh.vertices, mesh.faces) @ up
    bottom, top = float(heights.min()), float(heights.max())
    progress.step("fill time", 0.8)
    sprue, surface = _sprue(request, up, top)
    exit_mm = None if request.sprue_exit_mm is None else float(up @ np.asarray(request.sprue_exit_mm))
    profile = fill_profile(mesh, pour_up=up, exit_mm=exit_mm)
    material = request.resolved_material
    time = fill_time(profile, sprue, material)
    rise = bubble_rise_mm_s(
        _BUBBLE_MM,
        density_g_cm3=material.liquid_density_g_cm3.typical,
        viscosity_pa_s=material.viscosity_pa_s.typical,
    )
    return Filling(
        up=up,
        directions=directions,
        air=air,
        advised_vents_mm=advised,
        left_mm3=left,
        levels=level_states(air),
        height_mm=top - bottom,
        surface_mm=surface,
        time=time,
        sprue_assumed=request.sprue is None,
        advised_sprue_mm=_advised_sprue(request, profile, sprue),
        free_fall_mm=max(0.0, profile.exit_mm),
        vent_pressure_pa=vent_pressure_pa(time.flow.rate_mm3_s, request.vents) if request.vents else None,
        bubble_time_s=(top - bottom) / rise,
        level_ceiling_mm2=_level_ceiling_mm2(request, up),
    )


def _choose_up(request: PourRequest, progress: Progress) -> tuple[FloatArray, PourDirections | None]:
    if request.pour_up is not None:
        return upright_frame(request.pour_up)[2], None
    progress.step("pour direction", 0.0)
    candidates = (
        directions_on_sphere(_SPHERE_DIRECTIONS)
        if request.pull_direction is None
        else directions_in_plane(request.pull_direction)
    )
    mesh = request.cavity.mesh
    found = best_pour_direction(mesh.vertices, mesh.faces, candidates=candidates)
    return np.array(found.best.up), found


def _find_air(request: PourRequest, up: FloatArray) -> tuple[AirAnalysis, tuple[Point, ...], float]:
    """Return the air with the openings there are, the summits that need a vent, and the largest rest."""
    if not request.has_mould:
        mesh = request.cavity.mesh
        places = place_vents(mesh.vertices, mesh.faces, up=up)
        return places.bare, places.vents_mm, _largest(places.vented)
    mesh = request.liquid_mesh
    openings: list[tuple[Point, float]] = []
    if request.sprue_top_mm is not None:
        radius = request.sprue.top_mm / 2.0 if request.sprue is not None else 0.0
        openings.append((request.sprue_top_mm, radius))
    openings += [(vent.top_mm, vent.diameter_mm / 2.0) for vent in request.vents]
    air = trapped_air(mesh.vertices, mesh.faces, up=up, openings=openings)
    shut = tuple(p.summit_mm for p in air.unvented if p.volume_mm3 > POCKET_LIMIT_MM3)
    return air, shut, _largest(air)


def _largest(air: AirAnalysis) -> float:
    return max((pocket.volume_mm3 for pocket in air.unvented), default=0.0)


def _sprue(request: PourRequest, up: FloatArray, top_mm: float) -> tuple[Sprue, float]:
    """Return the sprue with its head, and the height of the liquid's surface."""
    sprue = ASSUMED_SPRUE if request.sprue is None else request.sprue
    exit_mm = top_mm if request.sprue_exit_mm is None else float(up @ np.asarray(request.sprue_exit_mm))
    if request.sprue_top_mm is None:
        return sprue, max(exit_mm + sprue.head_mm, top_mm)
    surface = float(up @ np.asarray(request.sprue_top_mm))
    if surface > exit_mm:
        sprue = replace(sprue, head_mm=surface - exit_mm)
    return sprue, max(surface, top_mm)


def _advised_sprue(request: PourRequest, profile: FillProfile, sprue: Sprue) -> float | None:
    material = request.resolved_material
    if material.pot_life_s is None:
        return None
    return sprue_diameter_mm(
        profile,
        sprue,
        time_s=request.pot_life_share * material.pot_life_s.typical,
        density_g_cm3=material.liquid_density_g_cm3.typical,
        viscosity_pa_s=material.viscosity_pa_s.typical,
    )


def vent_pressure_pa(rate_mm3_s: float, vents: tuple[Vent, ...]) -> float:
    """Return the pressure that drives air through vents side by side at a rate: friction and velocity head.

    Examples
    --------
    >>> one = Vent(top_mm=(0, 0, 0), diameter_mm=1.0, length_mm=10.0)
    >>> round(vent_pressure_pa(1000.0, (one,)), 1)
    8.8
    """
    flow = cubic_metres(rate_mm3_s)
    conductance = sum(1.0 / viscous_resistance(v.diameter_mm, v.length_mm) for v in vents)
    area = sum(square_metres(np.pi * v.diameter_mm**2 / 4.0) for v in vents)
    speed = flow / area
    head = _VENT_LOSS * kilograms_per_cubic_metre(AIR_DENSITY_G_CM3) * speed**2 / 2.0
    return float(AIR_VISCOSITY_PA_S * flow / conductance + head)


def _level_ceiling_mm2(request: PourRequest, up: FloatArray) -> float:
    corners = request.cavity.mesh.triangles
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    area = np.linalg.norm(normal, axis=1)
    level = normal @ up > area * np.cos(np.radians(_LEVEL_CEILING_DEG))
    return float(area[level].sum() / 2.0)

"""Layout: where everything of a mould goes, before anything is cut."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from mirrorprep.errors import NoPartingError
from mirrorprep.mould.body import block, cylinder, floors_mm
from mirrorprep.mould.channels import Channel, footprint, plan_channels, pour_up_uv
from mirrorprep.mould.fittings import Places, at_faces, bolt_cuts, bosses, level_pads, slot_cuts
from mirrorprep.mould.flange import FOOT_THICKNESS_MM, flange_plan, flanged_shell
from mirrorprep.mould.frame import MouldFrame
from mirrorprep.mould.hardware import PRY_WALL_MM, PRY_WIDTH_MM, bolt_size, pry_places
from mirrorprep.mould.land import steep_land
from mirrorprep.mould.marks import mark_tools
from mirrorprep.mould.parting import view_part
from mirrorprep.mould.parting_contour import STEEPEST_LAND_DEG
from mirrorprep.mould.pieces import refuse_oversize
from mirrorprep.mould.register_keys import RegisterKey, key_places, keys_for_edge, register_key, spread_places
from mirrorprep.mould.settings import MouldSettings
from mirrorprep.mould.shell import Shell, even_shell
from mirrorprep.progress import Progress
from mirrorprep.solid.section import Section, disc, level_section, merged, rectangle, silhouette
from mirrorprep.solid.solid import Solid

FloatArray = NDArray[np.float64]

COARSE_MM = 0.02
"""How far the surface of the coarse copy may lie off the part's."""

EDGE_WALL_MM = 1.5
"""Least wall between keys or bolts and the outer edge."""

_CLEAR_MM = 2.0
_SPRUE_LAND_MM = 4.0
_KEY_LAND_DEG = (STEEPEST_LAND_DEG, 60.0, 75.0, 90.0)
"""Slopes of the land that keys keep off, steeper by steps where they find no room."""

_CRUMB_MM3 = 1e-6
_FEW_TRIANGLES = 20_000
_SPRUES_IN_PART = 1.5
_MARGIN_IN_PART = 0.3


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Layout:
    """Everything that is needed to cut the halves, in mould coordinates.

    Attributes
    ----------
    settings : MouldSettings
        As given.
    frame : MouldFrame
        With the final parting surface.
    cavity : Solid
        The part.
    runners : tuple of Channel
        Sprue first, then vents.
    outside : Solid
        The envelope of both halves; its volume is the outer volume.
    shell : Shell or None
        The even wall, when the body is one.
    keys : tuple of RegisterKey
        The large one first.
    bolts_uv : tuple of (2,) float64
        Bolt axes.
    tools : tuple of Solid
        Bodies to cut away: bolts, slots and marks.
    slots : int
        How many slots for a lever there are.
    marked, coded : int
        How many halves carry their marks, and how many the job code.
    """

    settings: MouldSettings
    frame: MouldFrame
    cavity: Solid
    runners: tuple[Channel, ...]
    outside: Solid
    shell: Shell | None
    keys: tuple[RegisterKey, ...]
    bolts_uv: tuple[FloatArray, ...]
    tools: tuple[Solid, ...]
    slots: int
    marked: int
    coded: int


def lay_out(part: Solid, settings: MouldSettings, *, progress: Progress) -> Layout:
    """Return the layout of a mould around a part (in the part's coordinates, scaled by the allowance).

    Places are found on the plan and a rough surface first; then a contour surface is led through the
    channels' axes and level pads under keys and bolts.

    Raises
    ------
    NoPartingError
        If the part is too small for its sprue and flange or too large for the bed in any pieces, or has no
        parting surface or even wall.
    """
    margin = 2.0 * settings.flange_width_mm + settings.cup_depth_mm + settings.wall_mm
    _refuse_tiny(part, settings, margin)
    coarse_part = _coarse(part)
    view = view_part(
        part,
        pull_direction=settings.pull_direction,
        kind=settings.parting,
        progress=progress.part(0.0, 0.5),
    )
    progress.step("pour direction", 0.5)
    rough = view.rough(coarse_part, margin)
    frame = MouldFrame(parting=rough, up_uv=pour_up_uv(coarse_part, view.frame, settings))
    cavity, coarse = frame.to_mould(part), frame.to_mould(coarse_part)
    refuse_oversize((np.ptp(cavity.bounds_mm[:, :2], axis=0) + 2.0 * settings.wall_mm).tolist(), settings)
    settings = _with_keys_counted(coarse, settings)
    runners = _runners(cavity, frame, settings)
    progress.step("body", 0.6)
    shell = (
        even_shell(coarse, settings.wall_mm, grid_mm=settings.grid_mm) if settings.body == "shell" else None
    )
    plan, places, floor = _planned(cavity, coarse, shell, runners, frame, settings)
    if view.kind == "contour":
        progress.step("parting surface", 0.7)
        guides = [channel.guide(frame.turn, margin) for channel in runners] + level_pads(
            places, frame, settings
        )
        frame = MouldFrame(parting=view.surface(margin, guides, start=rough.field), up_uv=frame.up_uv)
    progress.step("outside", 0.9)
    if shell is not None:
        nuts = bosses(places, frame, settings)
        outside = flanged_shell(shell.solid, plan, runners, frame, settings, bosses=nuts)
    else:
        outside = _plain_body(cavity, runners, frame, settings, floor_mm=floor)
    keys = [
        register_key(place, radius, frame, settings)
        for place, radius in zip(places.keys, places.key_radii_mm, strict=True)
    ]
    marks = mark_tools(outside, plan, frame, settings.job_code) if settings.marks else []
    return Layout(
        settings=settings,
        frame=frame,
        cavity=cavity,
        runners=tuple(runners),
        outside=outside,
        shell=shell,
        keys=tuple(_within(keys, outside)),
        bolts_uv=tuple(places.bolts),
        tools=(
            *bolt_cuts(places, outside, frame, settings),
            *slot_cuts(places, outside, frame),
            *(mark.tool for mark in marks),
        ),
        slots=len(places.slots),
        marked=len(marks),
        coded=sum(mark.coded for mark in marks),
    )


def _refuse_tiny(part: Solid, settings: MouldSettings, margin_mm: float) -> None:
    """Raise when sprue and flange dwarf a part: its unit is wrong, or the settings are."""
    size = float(np.ptp(part.bounds_mm, axis=0).max())
    least = max(_SPRUES_IN_PART * settings.sprue_diameter_mm, _MARGIN_IN_PART * margin_mm)
    if size < least:
        raise NoPartingError(
            f"The part is {size:.3g} mm long, too small for a sprue of {settings.sprue_diameter_mm:g} mm and "
            f"a flange of {settings.flange_width_mm:g} mm (least {least:.3g} mm).",
            remedy="Check the unit of the scan, or choose a smaller sprue, pouring cup, wall and flange.",
        )


def _coarse(part: Solid) -> Solid:
    """Return a copy with fewer triangles, for everything that need not be exact."""
    return part if len(part.mesh.faces) <= _FEW_TRIANGLES else part.simplified(COARSE_MM)


def _runners(cavity: Solid, frame: MouldFrame, settings: MouldSettings) -> list[Channel]:
    top = float(cavity.bounds_mm[1, 1]) + settings.wall_mm + _SPRUE_LAND_MM + settings.cup_depth_mm
    return plan_channels(cavity, frame, top_mm=top, settings=settings)


def _planned(
    cavity: Solid,
    coarse: Solid,
    shell: Shell | None,
    runners: Sequence[Channel],
    frame: MouldFrame,
    settings: MouldSettings,
) -> tuple[Section, Places, float]:
    """Return the outline of the parting surface, the places on it, and the bottom of a plain body.

    The bottom is thin where keys, bolts and slots find room beside the cavity, and wide enough for them else.
    """
    if shell is not None:
        shadow = silhouette(shell.solid)
        plan = flange_plan(shadow, runners, settings)
        return plan, _places(coarse, plan, shadow.offset(0.5), runners, frame, settings), 0.0
    core, depth, levels = _shadow(coarse, _CLEAR_MM), settings.flange_thickness_mm, _levels(runners, frame)
    found = []
    for floor in floors_mm(cavity, settings):
        body = _plain_body(cavity, runners, frame, settings, floor_mm=floor)
        plan = level_section(body, min(levels) - depth) & level_section(body, max(levels) + depth)
        places = _places(coarse, plan, core, runners, frame, settings)
        found.append((plan, at_faces(places, body, frame), floor))
        if found[-1][1].lacking(settings) == 0:
            return found[-1]
    return min(found, key=lambda planned: planned[1].lacking(settings))


def _places(
    coarse: Solid,
    plan: Section,
    core: Section,
    runners: Sequence[Channel],
    frame: MouldFrame,
    settings: MouldSettings,
) -> Places:
    free = plan.offset(-EDGE_WALL_MM) - footprint(runners).offset(_CLEAR_MM)
    bolts = []
    reach = 0.0
    if settings.bolts != "none":
        reach = bolt_size(settings.bolts).reach_mm
        room = (free - core - _foot_area(plan, settings)).offset(-reach)
        bolts = spread_places(room, settings.bolt_count, apart_mm=2.0 * reach + _CLEAR_MM)
    room = free - merged([_shadow(coarse, _CLEAR_MM), *(disc(center, reach + 1.0) for center in bolts)])
    keep_off = _shadow(coarse, 0.0) + footprint(runners)
    tried = []
    for limit in _KEY_LAND_DEG:
        level = room - steep_land(frame, limit)
        tried.append(_keys_and_slots(plan, level, keep_off, [(bolt, reach) for bolt in bolts], settings))
        if len(tried[-1][0]) == settings.keys_asked:
            break
    keys, radii, slots = max(tried, key=lambda found: len(found[0]))
    return Places(
        bolts=bolts, keys=keys, key_radii_mm=radii, slots=slots, slot_depth_mm=_slot_depth_mm(settings)
    )


def _slot_depth_mm(settings: MouldSettings) -> float:
    return min(4.0, 0.3 * settings.flange_width_mm)


def _keys_and_slots(
    plan: Section,
    room: Section,
    keep_off: Section,
    bolts: list[tuple[FloatArray, float]],
    settings: MouldSettings,
) -> tuple[list[FloatArray], list[float], list[FloatArray]]:
    """Return places and radii of the keys, and places of the slots.

    Keys come first; where they leave no room for both slots, they stand beside the slots if as many can.
    """
    taken, depth = [bolt for bolt, _ in bolts], _slot_depth_mm(settings)
    keys, radii = key_places(room, settings, taken=taken)
    if not settings.pry_slots:
        return keys, radii, []
    around = [(key, radius + settings.key_gap_mm) for key, radius in zip(keys, radii, strict=True)]
    slots = pry_places(plan, [*bolts, *around], depth_mm=depth, keep_off=keep_off)
    first = pry_places(plan, bolts, depth_mm=depth, keep_off=keep_off)
    if len(slots) < len(first):
        reach = np.array([depth, PRY_WIDTH_MM / 2.0]) + PRY_WALL_MM
        beside = room - merged([rectangle(slot - reach, slot + reach) for slot in first])
        others = key_places(beside, settings, taken=taken)
        if len(others[0]) >= len(keys):
            return *others, first
    return keys, radii, slots


def _foot_area(plan: Section, settings: MouldSettings) -> Section:
    """Return the strip above the foot of a shell mould, which bolt recesses must not cut."""
    low, high = plan.bounds_mm
    thick = FOOT_THICKNESS_MM if settings.feet and settings.body == "shell" else 0.0
    return rectangle(low - 1.0, (high[0] + 1.0, low[1] + thick + 0.5))


def _with_keys_counted(coarse: Solid, settings: MouldSettings) -> MouldSettings:
    if settings.key_count is not None:
        return settings
    edge = _shadow(coarse, settings.wall_mm).length_mm
    return replace(settings, key_count=keys_for_edge(edge))


def _shadow(coarse: Solid, grown_mm: float) -> Section:
    return silhouette(coarse).offset(grown_mm + COARSE_MM)


def _within(keys: Sequence[RegisterKey], outside: Solid) -> list[RegisterKey]:
    """Return the keys whose sockets lie within the outside: one on steep land may come out of the flange."""
    kept = [key for key in keys if (key.female - outside).volume_mm3 <= _CRUMB_MM3]
    return kept if len(kept) > 1 else []


def _levels(runners: Sequence[Channel], frame: MouldFrame) -> list[float]:
    heights = frame.parting.field.height_mm
    return [*(channel.axis_w_mm for channel in runners), float(heights.min()), float(heights.max())]


def _plain_body(
    cavity: Solid,
    runners: Sequence[Channel],
    frame: MouldFrame,
    settings: MouldSettings,
    *,
    floor_mm: float,
) -> Solid:
    heights = frame.parting.field.height_mm
    beside = settings.flange_thickness_mm + _CLEAR_MM
    wide = [channel.outlet_radius_mm + _CLEAR_MM for channel in runners]
    axes = [channel.axis_w_mm for channel in runners]
    span = (
        min(float(heights.min()) - beside, *(w - r for w, r in zip(axes, wide, strict=True))),
        max(float(heights.max()) + beside, *(w + r for w, r in zip(axes, wide, strict=True))),
    )
    make = cylinder if settings.body == "cylinder" else block
    heights_mm = (floor_mm, runners[0].stop_v_mm)
    return make(cavity, v_span_mm=heights_mm, w_span_mm=span, settings=settings)

"""Fittings: what is added and cut away where keys, bolts and slots stand."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from mirrorprep.mould.frame import MouldFrame
from mirrorprep.mould.hardware import (
    PRY_HEIGHT_MM,
    PRY_WIDTH_MM,
    bolt_size,
    bolt_tools,
    nut_boss,
    pry_tool,
)
from mirrorprep.mould.parting_guide import Guide
from mirrorprep.mould.settings import MouldSettings
from mirrorprep.solid.primitives import box
from mirrorprep.solid.solid import Solid

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Places:
    """Where bolts, keys and slots stand on the plan.

    Attributes
    ----------
    bolts, keys, slots : list of (2,) float64
        Axes of bolts and keys; places of the slots on the outline.
    key_radii_mm : list of float
        At the parting surface.
    slot_depth_mm : float
        How far the slots reach inward.
    """

    bolts: list[FloatArray]
    keys: list[FloatArray]
    key_radii_mm: list[float]
    slots: list[FloatArray]
    slot_depth_mm: float

    def lacking(self, settings: MouldSettings) -> int:
        """Return how many keys, bolts and slots found no room."""
        bolts = settings.bolt_count if settings.bolts != "none" else 0
        slots = 2 if settings.pry_slots else 0
        asked = settings.keys_asked + bolts + slots
        return asked - len(self.keys) - len(self.bolts) - len(self.slots)


def level_pads(places: Places, frame: MouldFrame, settings: MouldSettings) -> list[Guide]:
    """Return level pads under keys, bolts and slots."""
    turn = frame.turn[:2, :2]
    pads = [
        Guide.pad(turn @ place, radius + settings.key_gap_mm + 0.5)
        for place, radius in zip(places.keys, places.key_radii_mm, strict=True)
    ]
    if places.bolts:
        reach = bolt_size(settings.bolts).reach_mm
        pads += [Guide.pad(turn @ place, reach) for place in places.bolts]
    wide = float(np.hypot(places.slot_depth_mm, PRY_WIDTH_MM / 2.0))
    return pads + [Guide.pad(turn @ place, wide) for place in places.slots]


def bosses(places: Places, frame: MouldFrame, settings: MouldSettings) -> list[Solid]:
    """Return the bosses of a shell's nuts."""
    if not places.bolts:
        return []
    levels = frame.height_mm(places.bolts)
    return [
        nut_boss(
            bolt_size(settings.bolts),
            center,
            level_mm=float(level),
            nut_seat_mm=float(level) - settings.flange_thickness_mm,
        )
        for center, level in zip(places.bolts, levels, strict=True)
    ]


def bolt_cuts(places: Places, outside: Solid, frame: MouldFrame, settings: MouldSettings) -> list[Solid]:
    """Return what is cut away for each bolt."""
    if not places.bolts:
        return []
    low, high = outside.bounds_mm[:, 2].tolist()
    seat = settings.flange_thickness_mm
    tools = []
    for center in places.bolts:
        level = float(frame.height_mm(center)[0])
        tools.append(
            bolt_tools(
                bolt_size(settings.bolts),
                center,
                nut_seat_mm=level - seat,
                head_seat_mm=level + seat,
                span_mm=(min(low, level - seat) - 1.0, max(high, level + seat) + 1.0),
            )
        )
    return tools


def at_faces(places: Places, body: Solid, frame: MouldFrame) -> Places:
    """Return the places with slots at the body's own face: a cylinder is wider there than its plan."""
    middle = float(body.bounds_mm[:, 0].mean())
    faced = []
    for slot in places.slots:
        center = (slot[0], slot[1], float(frame.height_mm(slot)[0]))
        size = [2.0 * float(np.ptp(body.bounds_mm[:, 0])), PRY_WIDTH_MM, PRY_HEIGHT_MM]
        band = (box(size, center_mm=center) & body).bounds_mm
        faced.append(np.array([band[0, 0] if slot[0] < middle else band[1, 0], slot[1]]))
    return replace(places, slots=faced)


def slot_cuts(places: Places, outside: Solid, frame: MouldFrame) -> list[Solid]:
    """Return what is cut away for levers, open to the outside."""
    left, right = outside.bounds_mm[:, 0].tolist()
    middle = (left + right) / 2.0
    return [
        pry_tool(
            place,
            float(frame.height_mm(place)[0]),
            depth_mm=places.slot_depth_mm,
            outer_u_mm=left - 1.0 if place[0] < middle else right + 1.0,
        )
        for place in places.slots
    ]

"""Flange, clamp pads, foot and sprue wall around a shell: what makes it stand, close and pour."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from mirrorprep.mould.channels import Channel
from mirrorprep.mould.frame import MouldFrame
from mirrorprep.mould.settings import MouldSettings
from mirrorprep.solid.primitives import box
from mirrorprep.solid.section import Section, hull_section, level_section, rectangle
from mirrorprep.solid.solid import Solid, union

FloatArray = NDArray[np.float64]

FOOT_THICKNESS_MM = 5.0
PAD_DEPTH_MM = 3.0
STANCE = 0.15
"""Least depth of the foot on each side of the parting surface, as a share of the mould's height."""

CHANNEL_WALL_MM = 3.0
_DRAWN_IN_MM = 0.3


def flanged_shell(
    shell: Solid,
    plan: Section,
    runners: Sequence[Channel],
    frame: MouldFrame,
    settings: MouldSettings,
    *,
    bosses: Sequence[Solid] = (),
) -> Solid:
    """Return a shell with its flange, pads, foot, bosses and the walls around its channels.

    Parameters
    ----------
    shell : Solid
        The outside of the even wall, in mould coordinates.
    plan : Section
        Outline of the flange, from `flange_plan`.
    runners : sequence of Channel
        Sprue and vents.
    frame : MouldFrame
        With the parting surface.
    settings : MouldSettings
        Flange, wall, feet.
    bosses : sequence of Solid
        What holds the nuts below the flange.
    """
    walls = [channel.wall(CHANNEL_WALL_MM) for channel in runners]
    backs = _backs(shell, plan, [*walls, *bosses], frame, settings)
    parts = [
        shell,
        _slab(plan, frame, settings),
        *walls,
        *bosses,
        *_pads(shell, backs),
    ]
    if settings.feet:
        parts.append(_foot(plan, backs))
    return union(parts)


def flange_plan(shadow: Section, runners: Sequence[Channel], settings: MouldSettings) -> Section:
    """Return the outline of the flange: convex around the shell's shadow, level at the top and the bottom."""
    width = settings.flange_width_mm
    (left, bottom), (right, _) = shadow.bounds_mm
    top = runners[0].stop_v_mm
    floor = float(bottom) - width
    middle, half = (left + right) / 2.0, 0.35 * (right - left) + 0.5 * width
    corners = shadow.offset(width).loops
    ends = [
        (c.mouth_mm[0] + side * (c.outlet_radius_mm + width / 2.0), top) for c in runners for side in (-1, 1)
    ]
    foot = [(middle - half, floor), (middle + half, floor)]
    hull = hull_section(np.vstack([*corners, np.array(ends), np.array(foot)]))
    reach = float(np.ptp(hull.bounds_mm[:, 0])) + 1.0
    return hull & rectangle((left - reach, floor), (right + reach, top))


def _slab(plan: Section, frame: MouldFrame, settings: MouldSettings) -> Solid:
    """Return the flange: one thickness above and one below the parting surface."""
    thick = settings.flange_thickness_mm
    low, high = plan.bounds_mm
    heights = frame.parting.field.height_mm
    floor, roof = float(heights.min()) - 2.0 * thick, float(heights.max()) + 2.0 * thick
    prism = plan.extruded(floor, roof)
    if frame.parting.kind == "plane":
        level = float(heights[0])
        return plan.extruded(level - thick, level + thick)
    below = frame.below(low - 1.0, high + 1.0, floor - 2.0 * thick)
    return (prism & below.translated((0.0, 0.0, thick))) - below.translated((0.0, 0.0, -thick))


def _backs(
    shell: Solid,
    plan: Section,
    covered: Sequence[Solid],
    frame: MouldFrame,
    settings: MouldSettings,
) -> tuple[float, float]:
    """Return the heights of the flat backs of the lower and the upper half, beyond all that is covered."""
    low, high = shell.bounds_mm
    heights = frame.parting.field.height_mm
    thick = settings.flange_thickness_mm + 1.0
    reach = np.array([body.bounds_mm[:, 2] for body in covered])
    stance = STANCE * float(np.ptp(plan.bounds_mm[:, 1])) if settings.feet else 0.0
    middle = float(heights.mean())
    lower = min(float(low[2]), float(heights.min()) - thick, float(reach.min()), middle - stance)
    upper = max(float(high[2]), float(heights.max()) + thick, float(reach.max()), middle + stance)
    return float(lower), float(upper)


def _pads(shell: Solid, backs: tuple[float, float]) -> list[Solid]:
    """Return the flat pads on the backs: the shell's own section a little below its crest, carried out.

    The section is drawn in a little, so that the pad's walls cut the shell instead of grazing it.
    """
    lower, upper = backs
    low, high = shell.bounds_mm[:, 2].tolist()
    under = level_section(shell, low + PAD_DEPTH_MM).offset(-_DRAWN_IN_MM)
    over = level_section(shell, high - PAD_DEPTH_MM).offset(-_DRAWN_IN_MM)
    return [
        under.extruded(lower, low + 1.5 * PAD_DEPTH_MM),
        over.extruded(high - 1.5 * PAD_DEPTH_MM, upper),
    ]


def _foot(plan: Section, backs: tuple[float, float]) -> Solid:
    """Return the plate that the mould stands on while it is poured."""
    floor = float(plan.bounds_mm[0, 1])
    base = plan & rectangle(plan.bounds_mm[0], (plan.bounds_mm[1, 0], floor + 0.2))
    left, right = base.bounds_mm[:, 0]
    low = np.array([left, floor, backs[0]])
    high = np.array([right, floor + FOOT_THICKNESS_MM, backs[1]])
    return box((high - low).tolist(), center_mm=(low + high) / 2.0)

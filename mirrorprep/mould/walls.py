"""The walls of a mould: how thin they are, and whether anything breaks through them."""

import numpy as np

from mirrorprep.mould.body import CYLINDER_SIDES, cylinder_axis
from mirrorprep.mould.layout import Layout
from mirrorprep.mould.settings import MINIMUM_WALL_MM
from mirrorprep.solid.finding import Finding, Severity
from mirrorprep.solid.gap import least_gap_mm
from mirrorprep.solid.primitives import box
from mirrorprep.solid.solid import Solid, union

_BREAKOUT_MM3 = 1e-6
_HAIR_MM = 1e-6


def least_wall_mm(layout: Layout) -> float:
    """Return the thinnest wall between cavity or channels and the outside, bores, slots or sockets.

    The outside of the cavity is a shell, whose wall was measured, or plain faces, whose distance follows
    from extents. Where a channel opens at the top there is no wall to judge.
    """
    wall = _outside_wall_mm(layout)
    if wall <= 0.0:
        return wall
    runners = union([channel.solid for channel in layout.runners])
    wall = least_gap_mm(runners & _below_top(layout), _beside(layout, wall), reach_mm=wall)
    tools = [*layout.tools, *(key.female for key in layout.keys)]
    if not tools:
        return wall
    bores = union(tools)
    wall = least_gap_mm(runners, bores, reach_mm=wall)
    return least_gap_mm(layout.cavity, bores, reach_mm=wall)


def _below_top(layout: Layout, grown_mm: float = 0.0) -> Solid:
    """Return the box around the outside up to the top, where the channels open.

    It ends a hair lower, so that rounding leaves no sheet of space over the top.
    """
    low, high = layout.outside.bounds_mm + grown_mm * np.array([[-1.0], [1.0]])
    high[1] = min(layout.runners[0].stop_v_mm, float(layout.outside.bounds_mm[1, 1])) - _HAIR_MM
    return box((high - low).tolist(), center_mm=(low + high) / 2.0)


def _beside(layout: Layout, reach_mm: float) -> Solid:
    """Return the space around the outside below the top."""
    return _below_top(layout, 2.0 * reach_mm) - layout.outside


def _outside_wall_mm(layout: Layout) -> float:
    if layout.shell is not None:
        return layout.settings.wall_mm + layout.shell.thickness_error_mm[0]
    inner, outer = layout.cavity.bounds_mm, layout.outside.bounds_mm
    if layout.settings.body == "block":
        return float(min((inner[0] - outer[0]).min(), (outer[1] - inner[1]).min()))
    faceted = float(np.ptp(outer[:, 0])) / 2.0 * np.cos(np.pi / CYLINDER_SIDES)
    axis = cylinder_axis(layout.cavity)
    around = np.linalg.norm(layout.cavity.mesh.vertices[:, [0, 2]] - axis, axis=1).max()
    flat = min((inner[0] - outer[0])[1:].min(), (outer[1] - inner[1])[1:].min())
    return float(min(faceted - around, flat))


def wall_findings(layout: Layout, least_mm: float) -> list[Finding]:
    """Return findings on thin walls and on channels that come out elsewhere than at the top."""
    found = []
    limit = MINIMUM_WALL_MM[layout.settings.process]
    if least_mm < limit:
        found.append(
            Finding(
                code="thin-wall",
                severity=Severity.STOP if least_mm <= 0.0 else Severity.CAUTION,
                message=f"The thinnest wall of the mould is {least_mm:.2f} mm (limit {limit:g} mm).",
                measured=least_mm,
                limit=limit,
                remedy="Choose a thicker wall, fewer or smaller keys and bolts.",
            )
        )
    top = layout.runners[0].stop_v_mm
    for channel in layout.runners:
        out = channel.solid - layout.outside
        below = [
            f for f in out.fragments() if f.volume_mm3 > _BREAKOUT_MM3 and f.bounds_mm[0, 1] < top - 1e-6
        ]
        if below:
            x, y, z = layout.frame.points_to_part(below[0].bounds_mm.mean(axis=0)).tolist()
            found.append(
                Finding(
                    code="channel-breaks-out",
                    severity=Severity.STOP,
                    message=f"The {channel.kind} comes out of the side of the mould.",
                    where=((x, y, z),),
                    measured=sum(fragment.volume_mm3 for fragment in below),
                    limit=0.0,
                    remedy="Choose a wider flange, a thicker wall or another pour direction.",
                )
            )
    return found

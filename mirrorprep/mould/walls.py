"""The walls of a mould: how thin they are, and whether anything breaks through them."""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from mirrorprep.mould.body import CYLINDER_SIDES, cylinder_axis
from mirrorprep.mould.layout import Layout
from mirrorprep.mould.settings import MINIMUM_WALL_MM
from mirrorprep.solid.finding import Finding, Severity
from mirrorprep.solid.gap import least_gap_mm
from mirrorprep.solid.primitives import box
from mirrorprep.solid.solid import Solid, union

FloatArray = NDArray[np.float64]

_BREAKOUT_MM3 = 1e-6
_NEAR_MM = 1e-3
_PLACE_MM = 0.5
_MOST_HALVINGS = 40
_HAIR_MM = 1e-6


def least_wall_mm(layout: Layout) -> float:
    """Return the thinnest wall of the mould.

    Those between cavity or channels and the outside, bores, slots or sockets; and those between sockets and
    the outside, bores or slots. Around the cavity stands a shell, whose wall was measured, or plain faces,
    whose distance follows from extents. Where a channel opens at the top there is no wall to judge.
    """
    wall = _outside_wall_mm(layout)
    if wall <= 0.0:
        return wall
    for first, second in _walls(layout, wall):
        wall = least_gap_mm(first, second, reach_mm=wall)
    return wall


def _walls(layout: Layout, reach_mm: float) -> Iterator[tuple[Solid, Solid]]:
    """Yield the pairs of spaces that walls stand between."""
    runners = union([channel.solid for channel in layout.runners])
    beside = _beside(layout, reach_mm)
    yield runners & _below_top(layout), beside
    sockets = [key.female for key in layout.keys]
    if layout.tools or sockets:
        bores = union([*layout.tools, *sockets])
        yield runners, bores
        yield layout.cavity, bores
    if sockets:
        yield union(sockets), beside
    if layout.tools and sockets:
        yield union(sockets), union(layout.tools)


def thinnest_place_mm(layout: Layout, least_mm: float) -> tuple[float, float, float]:
    """Return a place (in the part's coordinates) where the wall is the thinnest, from `least_wall_mm`."""
    for first, second in _walls(layout, max(least_mm, 0.0) + _NEAR_MM):
        if least_gap_mm(first, second, reach_mm=max(least_mm, 0.0) + _NEAR_MM) <= least_mm + _HAIR_MM:
            point = _nearest_place(first, second, max(least_mm, 0.0) + _HAIR_MM)
            break
    else:
        point = _thinnest_outside(layout)
    x, y, z = layout.frame.points_to_part(point).tolist()
    return x, y, z


def _nearest_place(first: Solid, second: Solid, gap_mm: float) -> FloatArray:
    """Return the middle of the part of the first body that comes as near to the second as stated."""
    for _ in range(_MOST_HALVINGS):
        low, high = first.bounds_mm
        axis = int(np.argmax(high - low))
        if high[axis] - low[axis] < _PLACE_MM:
            break
        parts = first.split_by_plane(np.eye(3)[axis], float(low[axis] + high[axis]) / 2.0)
        near = [part for part in parts if not part.is_empty and _within(part, second, gap_mm)]
        if not near:
            break
        first = near[0]
    return np.asarray(first.bounds_mm.mean(axis=0))


def _within(first: Solid, second: Solid, gap_mm: float) -> bool:
    return least_gap_mm(first, second, reach_mm=gap_mm + _NEAR_MM) <= gap_mm


def _thinnest_outside(layout: Layout) -> FloatArray:
    """Return where the wall between cavity and outside is the thinnest."""
    if layout.shell is not None:
        return np.array(layout.shell.thinnest_mm)
    points, outer = layout.cavity.mesh.vertices, layout.outside.bounds_mm
    faces = np.concatenate([points - outer[0], outer[1] - points], axis=1)
    if layout.settings.body == "cylinder":
        faces[:, [0, 3]] = _beyond_axis_mm(layout)[:, None]
    return np.asarray(points[int(np.argmin(faces.min(axis=1)))])


def _beyond_axis_mm(layout: Layout) -> FloatArray:
    """Return the distances of the cavity's vertices from the round side of a cylinder."""
    faceted = float(np.ptp(layout.outside.bounds_mm[:, 0])) / 2.0 * np.cos(np.pi / CYLINDER_SIDES)
    around = layout.cavity.mesh.vertices[:, [0, 2]] - cylinder_axis(layout.cavity)
    return np.asarray(faceted - np.linalg.norm(around, axis=1))


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
    flat = min((inner[0] - outer[0])[1:].min(), (outer[1] - inner[1])[1:].min())
    return float(min(_beyond_axis_mm(layout).min(), flat))


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
                where=(thinnest_place_mm(layout, least_mm),),
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

"""The outside of a mould: a box, or an upright cylinder with flat backs, around the cavity."""

import numpy as np
from numpy.typing import NDArray

from mirrorprep.mould.marks import DEPTH_MM
from mirrorprep.mould.settings import MouldSettings
from mirrorprep.solid.primitives import box, frustum
from mirrorprep.solid.solid import Solid

FloatArray = NDArray[np.float64]
Span = tuple[float, float]

CYLINDER_SIDES = 96
_LEAST_FLAT = 0.6


def block(cavity: Solid, *, v_span_mm: Span, w_span_mm: Span, settings: MouldSettings) -> Solid:
    """Return a box around the cavity.

    Parameters
    ----------
    cavity : Solid
        In mould coordinates.
    v_span_mm : (float, float)
        Heights (v) of the bottom, and of the top at which the channels open.
    w_span_mm : (float, float)
        Heights along the pull that the block must at least cover: parting surface, channels and flange.
    settings : MouldSettings
        Walls; the sides are wide enough for keys and bolts.
    """
    low, high = cavity.bounds_mm
    side = max(settings.wall_mm, settings.flange_width_mm)
    back, front = _backs(cavity, w_span_mm, settings)
    low = np.array([low[0] - side, v_span_mm[0], back])
    high = np.array([high[0] + side, v_span_mm[1], front])
    return box((high - low).tolist(), center_mm=(low + high) / 2.0)


def cylinder(cavity: Solid, *, v_span_mm: Span, w_span_mm: Span, settings: MouldSettings) -> Solid:
    """Return an upright cylinder around the cavity with a flat on the back of each half.

    It stands on its base, takes band clamps around its sides, and its halves lie flat to be printed.
    """
    low, high = cavity.bounds_mm
    center = cylinder_axis(cavity)
    back, front = _backs(cavity, w_span_mm, settings)
    half_width = (high[0] - low[0]) / 2.0
    reach = float(np.linalg.norm(cavity.mesh.vertices[:, [0, 2]] - center, axis=1).max())
    radius = max(
        reach + settings.wall_mm,
        half_width + settings.flange_width_mm + settings.wall_mm,
        float(np.hypot(max(center[1] - back, front - center[1]), _LEAST_FLAT * half_width)),
    ) / np.cos(np.pi / CYLINDER_SIDES)
    bottom, top = v_span_mm
    round_body = frustum(
        (center[0], bottom, center[1]),
        (center[0], top, center[1]),
        start_radius_mm=float(radius),
        stop_radius_mm=float(radius),
        segments=CYLINDER_SIDES,
    )
    slab = np.array([2.0 * radius + 2.0, top - bottom + 2.0, front - back])
    middle = np.array([center[0], (bottom + top) / 2.0, (back + front) / 2.0])
    return round_body & box(slab.tolist(), center_mm=middle)


def cylinder_axis(cavity: Solid) -> FloatArray:
    """Return where the axis of a cylinder around the cavity stands, along u and w."""
    return np.asarray(cavity.bounds_mm.mean(axis=0)[[0, 2]])


def floors_mm(cavity: Solid, settings: MouldSettings) -> Span:
    """Return the heights of a thin bottom, its wall kept behind marks, and of one for keys and bolts."""
    low = float(cavity.bounds_mm[0, 1])
    thin = settings.wall_mm + DEPTH_MM
    return low - thin, low - max(thin, settings.flange_width_mm)


def _backs(cavity: Solid, w_span_mm: Span, settings: MouldSettings) -> Span:
    """Return the heights of the flat backs along the pull."""
    low, high = cavity.bounds_mm[:, 2].tolist()
    return min(low - settings.wall_mm, w_span_mm[0]), max(high + settings.wall_mm, w_span_mm[1])

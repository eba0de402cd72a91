"""The outside of a mould: a box or an upright cylinder around the cavity."""

import numpy as np

from mirrorprep.mould.settings import MouldSettings
from mirrorprep.solid.primitives import box, frustum
from mirrorprep.solid.solid import Solid

Span = tuple[float, float]

_CYLINDER_SIDES = 96


def block(cavity: Solid, *, top_mm: float, w_span_mm: tuple[float, float], settings: MouldSettings) -> Solid:
    """Return a box around the cavity.

    Parameters
    ----------
    cavity : Solid
        In mould coordinates.
    top_mm : float
        Height (v) at which the channels open.
    w_span_mm : (float, float)
        Heights along the pull that the block must at least cover: parting surface, channels and flange.
    settings : MouldSettings
        Walls; the sides are wide enough for keys and bolts.
    """
    low, high = cavity.bounds_mm
    side = max(settings.wall_mm, settings.flange_width_mm)
    low = np.array([low[0] - side, low[1] - side, min(low[2] - settings.wall_mm, w_span_mm[0])])
    high = np.array([high[0] + side, top_mm, max(high[2] + settings.wall_mm, w_span_mm[1])])
    return box((high - low).tolist(), center_mm=(low + high) / 2.0)


def cylinder(
    cavity: Solid, *, top_mm: float, w_span_mm: tuple[float, float], settings: MouldSettings
) -> Solid:
    """Return an upright cylinder around the cavity: it stands on its base and takes band clamps."""
    low, high = cavity.bounds_mm
    middle = (w_span_mm[0] + w_span_mm[1]) / 2.0
    around = cavity.mesh.vertices[:, [0, 2]]
    center = np.array([(low[0] + high[0]) / 2.0, (low[2] + high[2]) / 2.0])
    reach = float(np.linalg.norm(around - center, axis=1).max())
    radius = max(
        reach + settings.wall_mm,
        (high[0] - low[0]) / 2.0 + settings.flange_width_mm + settings.wall_mm,
        abs(middle - center[1]) + (w_span_mm[1] - w_span_mm[0]) / 2.0,
    ) / np.cos(np.pi / _CYLINDER_SIDES)
    bottom = low[1] - max(settings.wall_mm, settings.flange_width_mm)
    return frustum(
        (center[0], bottom, center[1]),
        (center[0], top_mm, center[1]),
        start_radius_mm=float(radius),
        stop_radius_mm=float(radius),
        segments=_CYLINDER_SIDES,
    )

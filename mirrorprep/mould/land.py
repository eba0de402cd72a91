"""The land: the parting surface outside the part, where the halves meet and are keyed."""

from mirrorprep.mould.frame import MouldFrame
from mirrorprep.solid.section import Section, merged, polygon


def steep_land(frame: MouldFrame, limit_deg: float) -> Section:
    """Return where the parting surface climbs more steeply than a limit, in mould coordinates.

    Parameters
    ----------
    frame : MouldFrame
        With the parting surface; a rough one is enough.
    limit_deg : float
        Angle from the level.

    Examples
    --------
    >>> import numpy as np
    >>> from mirrorprep.mould.parting import find_parting
    >>> from mirrorprep.solid.primitives import sphere
    >>> parting = find_parting(sphere(10.0), pull_direction=[0, 0, 1], margin_mm=10.0)
    >>> steep_land(MouldFrame(parting=parting, up_uv=np.array([0.0, 1.0])), 45.0).is_empty
    True
    """
    field = frame.parting.field
    steep = field.slopes_deg() > limit_deg
    corners = field.nodes_uv[field.triangles[steep]] @ frame.turn[:2, :2]
    return merged(map(polygon, corners))

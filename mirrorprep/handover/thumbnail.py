"""A small picture of a part, for lists of many."""

from typing import Final

from mirrorprep.handover.bodies import body, surface, thinned, turned
from mirrorprep.handover.encoding import png_file
from mirrorprep.handover.palette import MIRRORED
from mirrorprep.handover.panel import draw
from mirrorprep.handover.retouch import OVERSAMPLING, retouched
from mirrorprep.handover.standing import standing_view
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.solid import Solid

_MOST_TRIANGLES: Final = 60_000


def picture_thumbnail(shape: ScanMesh | Solid, *, side_px: int = 120) -> bytes:
    """Draw a part, filling a small square.

    Parameters
    ----------
    shape : ScanMesh or Solid
        The part.
    side_px : int
        Width and height.

    Returns
    -------
    bytes
        A PNG file.
    """
    shown, _ = thinned(surface(shape), most=_MOST_TRIANGLES)
    view = turned(standing_view(shown), right_deg=30, up_deg=15)
    side = side_px * OVERSAMPLING
    return png_file(retouched(draw([body(shown, MIRRORED)], view, size_px=(side, side))))

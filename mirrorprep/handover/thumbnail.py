"""A small picture of a part, for lists of many."""

import io
from typing import Any, Final

import numpy as np
from matplotlib.image import imsave

from mirrorprep.handover.bodies import body, surface, thinned, turned
from mirrorprep.handover.palette import MIRRORED
from mirrorprep.handover.panel import draw
from mirrorprep.handover.retouch import OVERSAMPLING, retouched
from mirrorprep.handover.standing import standing_view
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.solid import Solid

_MOST_TRIANGLES: Final = 60_000
_NO_SOFTWARE: Final[dict[str, Any]] = {"Software": None}


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
    image = retouched(draw([body(shown, MIRRORED)], view, size_px=(side, side)))
    buffer = io.BytesIO()
    imsave(buffer, np.ascontiguousarray(image), format="png", metadata=_NO_SOFTWARE)
    return buffer.getvalue()

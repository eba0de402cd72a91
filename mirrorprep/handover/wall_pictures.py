"""The picture of a part's wall thickness, as PNG bytes."""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mirrorprep.handover.bodies import mapped_body, surface, thinned, three
from mirrorprep.handover.keys import BAR_FOOT, color_bar, mark
from mirrorprep.handover.palette import CAUTION, DEPTH, ColorMap, rounded_range
from mirrorprep.handover.panel import View
from mirrorprep.handover.sheet import PanelSpec, strip
from mirrorprep.handover.standing import standing_view
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.plane import Plane
from mirrorprep.solid.solid import Solid

FloatArray = NDArray[np.float64]

PANEL: Final = (640, 700)
WALLS: Final = ColorMap(name="wall thickness", table=DEPTH.table[::-1], diverging=False)
"""Thin is dark."""
_SHOWN: Final = 6.0  # least walls that the colours span at most


def picture_walls(
    part: Solid | ScanMesh,
    thickness_mm: ArrayLike,
    *,
    toward: ArrayLike | None = None,
    least_mm: float | None = None,
    thinnest_mm: ArrayLike | None = None,
    context: Solid | ScanMesh | None = None,
    plane: Plane | None = None,
) -> bytes:
    """Draw a part from its two broad sides, coloured by its wall thickness.

    Parameters
    ----------
    part : Solid or ScanMesh
        The part.
    thickness_mm : (n,) array
        Wall thickness per vertex; nan where no wall lies opposite.
    toward : (3,) array, optional
        Direction to the eye of the first panel; across the part's flattest side when left out.
    least_mm : float, optional
        Least wall of the material; the colours then end at six times that.
    thinnest_mm : (3,) array, optional
        Place of the thinnest wall, marked.
    context : Solid or ScanMesh, optional
        The scan that the part belongs to, whose stance says which way is up.
    plane : Plane, optional
        Its mirror plane, which helps to stand it upright.

    Returns
    -------
    bytes
        A PNG file.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import box
    >>> plate = box([2, 30, 40])
    >>> picture_walls(plate, np.full(len(plate.mesh.vertices), 2.0))[1:4]
    b'PNG'
    """
    mesh = surface(part)
    values = np.asarray(thickness_mm, dtype=np.float64)
    shown, kept = thinned(mesh)
    span = (0.0, rounded_range(values if least_mm is None else np.minimum(values, _SHOWN * least_mm)))
    colored = mapped_body(shown, values[kept], WALLS, span)
    outward = _broad_side(mesh) if toward is None else np.asarray(toward, dtype=np.float64)
    up = standing_view(mesh if context is None else surface(context), plane).up
    eyes = ((outward, "from outside"), (-outward, "from behind"))
    specs = [
        PanelSpec(bodies=[colored], view=View(toward=three(eye), up=up), title=title) for eye, title in eyes
    ]
    sheet = strip(specs, panel_px=PANEL, foot_px=BAR_FOOT)
    if thinnest_mm is not None:
        place = np.asarray(thinnest_mm, dtype=np.float64)
        seeing = [panel for panel in sheet.panels if panel.visible(place[None])[0]]
        for panel in seeing or sheet.panels[:1]:
            mark(sheet, panel, place, words="1", color=CAUTION)
    color_bar(sheet, WALLS, values, span=span, label="wall thickness", mesh=mesh)
    return sheet.png()


def _broad_side(mesh: ScanMesh) -> FloatArray:
    """Return the direction in which the part is flattest."""
    centered = mesh.vertices - mesh.vertices.mean(axis=0)
    return np.asarray(np.linalg.eigh(centered.T @ centered)[1][:, 0])

"""Pictures of a part that is seated on the recipient side, as PNG bytes."""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import KDTree

from mirrorprep.handover.bodies import body, mapped_body, surface, thinned, three
from mirrorprep.handover.keys import BAR_FOOT, LEGEND_FOOT, color_bar, draw_path, legend
from mirrorprep.handover.palette import INK, MIRRORED, SCAN, SIGNED, rounded_range
from mirrorprep.handover.panel import View
from mirrorprep.handover.sheet import PanelSpec, strip
from mirrorprep.handover.standing import standing_view
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.plane import Plane
from mirrorprep.solid.solid import Solid

FloatArray = NDArray[np.float64]

PANEL: Final = (560, 680)
MAP_PANEL: Final = (640, 700)
AROUND_MM: Final = 22.0
_BESIDE: Final = 0.9


def picture_seated(
    part: Solid | ScanMesh,
    recipient: Solid | ScanMesh,
    away: ArrayLike,
    *,
    loop_mm: ArrayLike | None = None,
    plane: Plane | None = None,
) -> bytes:
    """Draw a part on the recipient's skin from four sides: from outside, from both sides, and its back.

    Parameters
    ----------
    part, recipient : Solid or ScanMesh
        In place; of the recipient what lies around the part is drawn.
    away : (3,) array
        Direction from the skin to the eye in front of the part.
    loop_mm : (k, 3) array, optional
        Rim of the part, drawn as a line.
    plane : Plane, optional
        Mirror plane of the recipient, which helps to stand it upright.

    Returns
    -------
    bytes
        A PNG file.
    """
    shown, skin = thinned(surface(part))[0], surface(recipient)
    outward = np.asarray(away, dtype=np.float64)
    up = np.array(standing_view(skin, plane).up)
    across = np.cross(up, outward)
    near, piece = _near(skin, shown), body(shown, MIRRORED)
    sides = (
        (outward, "from outside", True),
        (outward + _BESIDE * across, "from one side", True),
        (outward - _BESIDE * across, "from the other side", True),
        (-outward, "its back, without the skin", False),
    )
    specs = [
        PanelSpec(
            bodies=[piece, body(near, SCAN)] if with_skin else [piece],
            view=View(toward=three(toward), up=three(up)),
            title=title,
        )
        for toward, title, with_skin in sides
    ]
    sheet = strip(specs, panel_px=PANEL, foot_px=LEGEND_FOOT)
    if loop_mm is not None:
        rim = np.asarray(loop_mm, dtype=np.float64)
        draw_path(sheet, sheet.panels[0], np.concatenate([rim, rim[:1]]), color=INK, width=1.6)
    legend(sheet, [(MIRRORED, "seated part"), (SCAN, "recipient")])
    return sheet.png()


def picture_fit(
    recipient: Solid | ScanMesh,
    deviation_mm: ArrayLike,
    away: ArrayLike,
    *,
    tolerance_mm: float | None = None,
    plane: Plane | None = None,
) -> bytes:
    """Draw the placed donor skin coloured by its signed distance from the recipient, and how that spreads.

    Parameters
    ----------
    recipient : Solid or ScanMesh
        The surface that carries the map.
    deviation_mm : (n,) array
        Signed distance per vertex; nan where none was measured.
    away : (3,) array
        Direction from the skin to the eye.
    tolerance_mm : float, optional
        Half the colour range; else a round number that covers 98 % of the magnitudes.
    plane : Plane, optional
        Mirror plane, which helps to stand the scan upright.

    Returns
    -------
    bytes
        A PNG file.
    """
    mesh = surface(recipient)
    values = np.asarray(deviation_mm, dtype=np.float64)
    span = tolerance_mm or rounded_range(values)
    shown, kept = thinned(mesh)
    colored = mapped_body(shown, values[kept], SIGNED, (-span, span))
    up = np.array(standing_view(mesh, plane).up)
    outward = np.asarray(away, dtype=np.float64)
    across = np.cross(up, outward)
    specs = [
        PanelSpec(bodies=[colored], view=View(toward=three(toward), up=three(up)), title=title, hollows=0.2)
        for toward, title in ((outward, "from outside"), (outward + across, "from one side"))
    ]
    sheet = strip(specs, panel_px=MAP_PANEL, foot_px=BAR_FOOT)
    color_bar(sheet, SIGNED, values, span=(-span, span), label="deviation", mesh=mesh)
    return sheet.png()


def _near(skin: ScanMesh, part: ScanMesh) -> ScanMesh:
    """Return the triangles of the skin around the part."""
    away = KDTree(part.vertices).query(skin.vertices, distance_upper_bound=AROUND_MM, workers=-1)[0]
    kept = np.isfinite(away)[skin.faces].all(axis=1)
    if not kept.any():
        return skin
    used, faces = np.unique(skin.faces[kept], return_inverse=True)
    return ScanMesh(vertices=skin.vertices[used], faces=faces.reshape(-1, 3))

"""Picture of the parting line on the part."""

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mirrorprep.handover.bodies import surface, turned
from mirrorprep.handover.keys import LEGEND_FOOT, legend
from mirrorprep.handover.mould_pictures import face_view, side_view
from mirrorprep.handover.palette import HALF_A, HALF_B, STOP
from mirrorprep.handover.panel import Body
from mirrorprep.handover.sheet import PanelSpec, PlacedPanel, Sheet, strip
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.solid import Solid

FloatArray = NDArray[np.float64]

PARTING: Final = (520, 760)


def picture_parting(
    mesh: ScanMesh | Solid,
    in_half_a: ArrayLike,
    lines_mm: Sequence[ArrayLike],
    pull_direction: ArrayLike,
    *,
    up: ArrayLike | None = None,
) -> bytes:
    """Draw the parting line on the part, and which half forms each face.

    Parameters
    ----------
    mesh : ScanMesh or Solid
        The part.
    in_half_a : (m,) bool array
        Faces that half_a forms.
    lines_mm : sequence of (n, 3) arrays
        The parting line: closed polylines, the first point not repeated.
    pull_direction : (3,) array
        Direction in which the mould opens.
    up : (3,) array, optional
        The direction that is to the right in the first view and up in the last.

    Returns
    -------
    bytes
        A PNG file.
    """
    part = surface(mesh)
    pull = np.asarray(pull_direction, dtype=np.float64)
    pull = pull / np.linalg.norm(pull)
    above = np.asarray(in_half_a, dtype=bool)
    shown = [
        Body(vertices=part.vertices[used], faces=index.reshape(-1, 3), color=color)
        for kept, color in ((above, HALF_A), (~above, HALF_B))
        for used, index in [np.unique(part.faces[kept], return_inverse=True)]
        if kept.any()
    ]
    side = side_view(pull, part.vertices, up=up)
    specs = [
        PanelSpec(bodies=shown, view=view, title=title)
        for view, title in (
            (turned(side, right_deg=30, up_deg=15), "from the side, pull upward"),
            (turned(side, right_deg=210, up_deg=15), "from the other side"),
            (face_view(side, pull), "seen along the pull"),
        )
    ]
    sheet = strip(specs, panel_px=PARTING, foot_px=LEGEND_FOOT)
    for panel in sheet.panels:
        for line in lines_mm:
            _draw_loop(sheet, panel, np.asarray(line, dtype=np.float64))
    entries = [(HALF_A, "formed by half_a"), (HALF_B, "formed by half_b")]
    legend(sheet, [*entries, ("-" + STOP, "parting line, dotted where hidden")])
    return sheet.png()


def _draw_loop(sheet: Sheet, panel: PlacedPanel, corners: FloatArray) -> None:
    """Draw a closed polyline on a body: full where it is seen, faint dots where something hides it."""
    closed = np.vstack([corners, corners[:1]])
    reach = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(closed, axis=0), axis=1))])
    steps = np.linspace(0.0, reach[-1], max(int(reach[-1] / (2.0 * panel.mm_per_px)), 8))
    points = np.stack([np.interp(steps, reach, closed[:, axis]) for axis in range(3)], axis=1)
    seen, placed = panel.visible(points), panel.place(points)
    for shown, look in ((seen, {"width": 4.0}), (~seen, {"width": 2.0, "linestyle": (0, (1, 3))})):
        path = np.where(shown[:, None], placed, np.nan)
        sheet.line(path[:, 0].tolist(), path[:, 1].tolist(), color=STOP, **look)

"""A plain window on one mesh."""

import os
import sys
from typing import Any

import numpy as np

from mirrorprep import cautions
from mirrorprep.errors import OutputError
from mirrorprep.handover.palette import INK, PAPER, SCAN
from mirrorprep.solid.mesh import ScanMesh


def look(mesh: ScanMesh, *, offscreen: bool = False) -> Any:  # noqa: ANN401 - vedo has no types
    """Open a window on a mesh and wait until it is closed.

    Parameters
    ----------
    mesh : ScanMesh
        Drawn in its own colours when it has any.
    offscreen : bool
        Draw without a window and return the plotter, for tests.

    Returns
    -------
    vedo.Plotter
        Closed, unless drawn off-screen.

    Raises
    ------
    OutputError
        If there is no display.
    """
    if sys.platform.startswith("linux") and not offscreen and not _display():
        raise OutputError(
            "There is no display for a window.", remedy="Use 'mirrorprep run' for pictures without one."
        )
    import vedo

    surface = vedo.Mesh([np.array(mesh.vertices), np.array(mesh.faces)]).c(SCAN)
    if mesh.colors is not None:
        surface.pointcolors = np.array(mesh.colors)
    surface.phong()
    size = " × ".join(f"{length:.1f}" for length in mesh.size_mm)
    words = vedo.Text2D(f"{len(mesh.faces):,} triangles, {size} mm\n{cautions.RESEARCH_ONLY}", c=INK, s=0.7)
    plotter = vedo.Plotter(title="mirrorprep", bg=PAPER, offscreen=offscreen)
    plotter.parallel_projection(value=True)
    plotter.show(surface, words, axes=8, viewup="z", interactive=not offscreen)
    return plotter if offscreen else plotter.close()


def _display() -> bool:
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))

"""Filling the holes of a draft."""

import numpy as np
from numpy.typing import NDArray

from mirrorprep.condition.draft import Draft, MendStep
from mirrorprep.geometry.borders import border_loops
from mirrorprep.geometry.hole_filling import minimal_area_triangulation

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


def fill_holes(draft: Draft) -> tuple[Draft, MendStep]:
    """Close every border of the draft."""
    loops = border_loops(draft.faces)
    patches = [loop[minimal_area_triangulation(draft.vertices[loop])] for loop in loops]
    faces = np.concatenate(patches) if patches else np.zeros((0, 3), dtype=np.int64)
    before = len(draft.faces)
    draft = draft.adding(np.zeros((0, 3)), faces)
    area = float(draft.areas_mm2()[before:].sum())
    step = MendStep(
        name="fill-holes",
        changed=len(loops) > 0,
        summary=f"{len(loops)} holes filled with {len(faces)} triangles ({area:.3g} mm²).",
        counts={"holes": len(loops), "triangles": len(faces), "area_mm2": area},
    )
    return draft, step

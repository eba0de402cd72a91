"""The last resort: a new surface from the winding-number field of the old one."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from mirrorprep.condition.draft import Draft, MendStep
from mirrorprep.condition.topology_steps import drop_islands
from mirrorprep.errors import NotASolidError
from mirrorprep.geometry.contour import contour
from mirrorprep.geometry.surface_index import SurfaceIndex
from mirrorprep.geometry.winding_field import winding_field

FloatArray = NDArray[np.float64]


def remake(draft: Draft, *, spacing_mm: float, island_share: float) -> tuple[Draft, MendStep]:
    """Replace the surface by the one where its winding number passes one half.

    Every vertex is new: the step reports how far the two surfaces lie apart, at the vertices of both. Shape
    finer than about two spacings is lost.
    """
    field = winding_field(draft.vertices, draft.faces, spacing_mm=spacing_mm)
    values = 0.5 - field.values
    for axis in range(3):
        rim = np.moveaxis(values, axis, 0)
        rim[[0, -1]] = 0.5
    vertices, faces = contour(values, field.origin_mm, spacing_mm)
    if len(faces) == 0:
        raise NotASolidError(
            f"At a spacing of {spacing_mm:g} mm the surface encloses nothing.",
            remedy="Give a finer spacing, or scan the object all round.",
        )
    made = Draft(
        vertices=vertices,
        faces=faces,
        source=np.full(len(faces), -1, dtype=np.int64),
        moved_mm=np.zeros(0),
    )
    made, _ = drop_islands(made, least_share=island_share, least_open_share=0.0)
    there = (
        SurfaceIndex(draft.vertices, draft.faces).closest(made.vertices[np.unique(made.faces)]).distance_mm
    )
    corners = np.unique(draft.faces)
    back = SurfaceIndex(made.vertices, made.faces).closest(draft.vertices[corners]).distance_mm
    moved = np.zeros(max(len(draft.moved_mm), 1))
    own = corners < len(draft.moved_mm)
    moved[corners[own]] = np.maximum(back[own], np.finfo(np.float64).tiny)
    step = MendStep(
        name="remake",
        changed=True,
        summary=(
            f"The surface was remade at {spacing_mm:g} mm; it lies within {there.max():.3g} mm (RMS "
            f"{np.sqrt((there**2).mean()):.3g} mm) of the old one."
        ),
        counts={
            "spacing_mm": spacing_mm,
            "triangles": len(made.faces),
            "max_deviation_mm": float(there.max()),
            "rms_deviation_mm": float(np.sqrt((there**2).mean())),
            "max_lost_mm": float(back.max()),
        },
    )
    return replace(made, moved_mm=moved), step

"""Closing what dips below the recipient's skin inside the part, such as an ear canal."""

from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.sparse.csgraph import connected_components

from mirrorprep.geometry.borders import border_loops
from mirrorprep.geometry.geodesic import edge_graph
from mirrorprep.geometry.hole_filling import minimal_area_triangulation
from mirrorprep.geometry.level_cut import cut_below_zero
from mirrorprep.geometry.patch_refinement import refine_patch
from mirrorprep.geometry.signed_distance import DistanceField
from mirrorprep.geometry.splitting import split_fans
from mirrorprep.geometry.topology import edge_table
from mirrorprep.seating.margin import Sheet
from mirrorprep.seating.settings import SeatSettings
from mirrorprep.solid.finding import Finding, Severity

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

RIM_SHARE: Final = 0.9
FLOOR_EDGE_MM: Final = 1.5
_ROUNDS: Final = 3


def without_hollows(
    sheet: Sheet, skin: DistanceField, settings: SeatSettings
) -> tuple[Sheet, tuple[Finding, ...]]:
    """Return the outside with a floor over the skin wherever it dipped below it.

    Parameters
    ----------
    sheet : Sheet
        The outside; away from its margin it may lie below the skin.
    skin : DistanceField
        The recipient's skin.
    settings : SeatSettings
        Floor, gap, width of the margin.

    Returns
    -------
    sheet : Sheet
        Cut where it sinks below nine tenths of the floor's thickness, and closed there by a patch that
        follows the skin at the floor's thickness.
    findings : tuple of Finding
        ``hollow-closed`` for each place.
    """
    least = settings.gap_mm + RIM_SHARE * settings.floor_mm
    sunk = _sunk(sheet, least, settings)
    if not sunk.any():
        return sheet, ()
    height = sheet.lifted_mm
    value = np.where(sunk, np.maximum(least - height, 1e-9), -np.maximum(np.abs(height - least), 1e-9))
    cut = cut_below_zero(sheet.vertices, sheet.faces, value)
    parted = split_fans(cut.vertices, cut.faces)
    copies = np.concatenate([np.arange(len(cut.vertices)), parted.copy_of])
    vertices, faces, parent = cut.vertices[copies], parted.faces, cut.parent[copies, 0]
    rim = set(sheet.loop.tolist())
    findings = []
    carried = {name: cut.carried(getattr(sheet, name))[copies] for name in _CARRIED}
    for loop in border_loops(faces, edge_table(faces)):
        if rim.issuperset(parent[loop.corners].tolist()):
            outer = loop.corners
            continue
        new, patch = _floor(vertices[loop.corners], skin, settings)
        number = np.concatenate([loop.corners, len(vertices) + np.arange(len(new))])
        faces = np.concatenate([faces, number[patch]])
        vertices = np.concatenate([vertices, new])
        carried = _extended(carried, new, skin, settings)
        findings.append(_finding(sheet, vertices[loop.corners], settings))
    closed = replace(sheet, vertices=vertices, faces=faces, loop=outer, **carried)
    return closed, tuple(findings)


_CARRIED: Final = ("skin_mm", "skin_normals", "height_mm", "lifted_mm", "within_mm")


def _sunk(sheet: Sheet, least: float, settings: SeatSettings) -> BoolArray:
    """Return the vertices of the places that go below the skin, up to the floor's thickness around them."""
    height = sheet.lifted_mm
    inner = sheet.within_mm > settings.edge_width_mm
    low = inner & (height < least)
    which = np.flatnonzero(low)
    if len(which) == 0:
        return low
    graph = edge_graph(sheet.vertices, sheet.faces)
    label = connected_components(graph[which][:, which], directed=False)[1]
    deep = np.zeros(int(label.max()) + 1, dtype=bool)
    deep[label[height[which] < settings.gap_mm]] = True
    low[which] = deep[label]
    return low


def _floor(rim: FloatArray, skin: DistanceField, settings: SeatSettings) -> tuple[FloatArray, IntArray]:
    """Return new vertices and faces of a patch across a rim at the floor's thickness over the skin."""
    flat = minimal_area_triangulation(rim)
    points, faces = refine_patch(rim, flat, np.full(len(rim), FLOOR_EDGE_MM), growth=0.1)
    new = points[len(rim) :]
    for _ in range(_ROUNDS):
        if len(new):
            foot = skin.at(new)
            new = foot.points + (settings.gap_mm + settings.floor_mm) * foot.normals
    return new, faces


def _extended(
    carried: dict[str, FloatArray], new: FloatArray, skin: DistanceField, settings: SeatSettings
) -> dict[str, FloatArray]:
    """Return the values per vertex with those of new vertices on the floor."""
    foot = skin.at(new)
    height = np.full(len(new), settings.gap_mm + settings.floor_mm)
    added = {
        "skin_mm": foot.points,
        "skin_normals": foot.normals,
        "height_mm": height,
        "lifted_mm": height,
        "within_mm": np.full(len(new), float(carried["within_mm"].max())),
    }
    return {name: np.concatenate([carried[name], values]) for name, values in added.items()}


def _finding(sheet: Sheet, rim: FloatArray, settings: SeatSettings) -> Finding:
    x, y, z = rim.mean(axis=0)
    depth = float(-sheet.height_mm.min())
    return Finding(
        code="hollow-closed",
        severity=Severity.NOTE,
        message=f"Inside the part the mirrored surface dips below the recipient's skin, by up to "
        f"{depth:.1f} mm; a floor of {settings.floor_mm:g} mm closes it.",
        where=((float(x), float(y), float(z)),),
        measured=depth,
        remedy="Open it in the casting if air must pass, or leave it open with close_hollows = false.",
    )

"""Closing what dips below the recipient's skin inside the part, such as an ear canal."""

from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components

from mirrorprep.geometry.borders import border_loops
from mirrorprep.geometry.geodesic import distance_along, edge_graph, smoothed, travel_graph
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

RIM_SHARE: Final = 0.9
FLOOR_EDGE_MM: Final = 1.0
BEYOND_MM: Final = 2.5
SMOOTHING_MM: Final = 1.0
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
        Cut 2.5 mm outside the places that go below nine tenths of the floor's thickness, and closed there
        by a membrane, nowhere thinner than the floor: a canal becomes a dimple, not a narrow well that
        no mould could let go.
    findings : tuple of Finding
        ``hollow-closed`` with every place and the greatest depth.
    """
    graph = edge_graph(sheet.vertices, sheet.faces)
    sunk = _sunk(sheet, graph, settings)
    if len(sunk) == 0:
        return sheet, ()
    away = distance_along(travel_graph(sheet.vertices, sheet.faces), sunk, limit_mm=4.0 * BEYOND_MM)
    value = smoothed(
        sheet.vertices, sheet.faces, BEYOND_MM - np.minimum(away, 4.0 * BEYOND_MM), radius_mm=SMOOTHING_MM
    )
    value = np.maximum(value, _below_floor(sheet, sunk, settings))
    value = np.where(sheet.within_mm < settings.edge_width_mm / 2.0, -BEYOND_MM, value)
    cut = cut_below_zero(sheet.vertices, sheet.faces, value)
    parted = split_fans(cut.vertices, cut.faces)
    copies = np.concatenate([np.arange(len(cut.vertices)), parted.copy_of])
    vertices, faces, parent = cut.vertices[copies], parted.faces, cut.parent[copies, 0]
    rim = set(sheet.loop.tolist())
    places: list[FloatArray] = []
    carried = {name: cut.carried(getattr(sheet, name))[copies] for name in _CARRIED}
    for loop in border_loops(faces, edge_table(faces)):
        if rim.issuperset(parent[loop.corners].tolist()):
            outer = loop.corners
            continue
        new, patch = _floor(vertices[loop.corners], skin, settings)
        number = np.concatenate([loop.corners, len(vertices) + np.arange(len(new))])
        faces = np.concatenate([faces, number[patch]])
        vertices = np.concatenate([vertices, new])
        carried = _extended(carried, new, skin)
        places.append(vertices[loop.corners].mean(axis=0))
    closed = replace(sheet, vertices=vertices, faces=faces, loop=outer, **carried)
    depth = float(-sheet.height_mm[sunk].min())
    return closed, (_finding(places, depth, settings),) if places else ()


_CARRIED: Final = ("skin_mm", "skin_normals", "height_mm", "lifted_mm", "within_mm")


def _sunk(sheet: Sheet, graph: csr_array, settings: SeatSettings) -> IntArray:
    """Return the vertices of the places that go below the skin, up to about the floor's thickness."""
    least = settings.gap_mm + RIM_SHARE * settings.floor_mm
    which = np.flatnonzero((sheet.within_mm > settings.edge_width_mm) & (sheet.lifted_mm < least))
    if len(which) == 0:
        return which
    label = connected_components(graph[which][:, which], directed=False)[1]
    deep = np.zeros(int(label.max()) + 1, dtype=bool)
    deep[label[sheet.lifted_mm[which] < settings.gap_mm]] = True
    return np.asarray(which[deep[label]])


def _below_floor(sheet: Sheet, sunk: IntArray, settings: SeatSettings) -> FloatArray:
    """Return how far the sunk places lie below the floor's thickness, negative for all others."""
    below = settings.gap_mm + RIM_SHARE * settings.floor_mm - sheet.lifted_mm
    value = -np.maximum(np.abs(below), 1e-9)
    value[sunk] *= -1.0
    return value


def _floor(rim: FloatArray, skin: DistanceField, settings: SeatSettings) -> tuple[FloatArray, IntArray]:
    """Return new vertices and faces of a membrane across a rim, at least the floor's thickness high."""
    flat = minimal_area_triangulation(rim)
    points, faces = refine_patch(rim, flat, np.full(len(rim), FLOOR_EDGE_MM), growth=0.1)
    new = points[len(rim) :]
    least = settings.gap_mm + settings.floor_mm
    for _ in range(_ROUNDS):
        if len(new):
            foot = skin.at(new)
            low = foot.distance_mm < least
            new = np.where(low[:, None], foot.points + least * foot.normals, new)
    return new, faces


def _extended(carried: dict[str, FloatArray], new: FloatArray, skin: DistanceField) -> dict[str, FloatArray]:
    """Return the values per vertex with those of new vertices on the floor."""
    foot = skin.at(new)
    added = {
        "skin_mm": foot.points,
        "skin_normals": foot.normals,
        "height_mm": foot.distance_mm,
        "lifted_mm": foot.distance_mm,
        "within_mm": np.full(len(new), float(carried["within_mm"].max())),
    }
    return {name: np.concatenate([carried[name], values]) for name, values in added.items()}


def _finding(places: list[FloatArray], depth: float, settings: SeatSettings) -> Finding:
    count = "one place" if len(places) == 1 else f"{len(places)} places"
    return Finding(
        code="hollow-closed",
        severity=Severity.NOTE,
        message=f"Inside the part the mirrored surface dips below the recipient's skin at {count}, by up to "
        f"{depth:.1f} mm; a membrane at least {settings.floor_mm:g} mm thick closes it.",
        where=tuple((float(x), float(y), float(z)) for x, y, z in places),
        measured=depth,
        remedy="Open it in the casting if air must pass, or leave it open with close_hollows = false.",
    )

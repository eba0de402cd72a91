"""Moving vertices apart where rounding would merge them or make triangles cross."""

from functools import partial
from typing import Final

import numpy as np
from numpy.typing import NDArray

from mirrorprep.geometry.closest_point import closest_on_triangles
from mirrorprep.geometry.normals import unit, vertex_normals
from mirrorprep.geometry.self_intersection import meeting_pairs
from mirrorprep.geometry.sliver_surface import SliverSurface, doubled
from mirrorprep.geometry.topology import edge_table
from mirrorprep.geometry.weld import weld_exact

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

APART_ULP: Final = 4.0
"""How far vertices are moved apart."""

_MOST_SEARCHES: Final = 8


def spread(at: SliverSurface) -> IntArray:
    """Move loose ends of edges that 32 bits cannot hold apart; return which were moved."""
    moved: set[int] = set()
    for row in at.slivers().tolist():
        i = int(np.argmin(at.sides(row)))
        ends = [int(at.faces[row, i]), int(at.faces[row, (i + 1) % 3])]
        loose = [vertex for vertex in ends if not at.fixed[vertex]]
        if not loose or not at.merges(*ends):
            continue
        other = ends[0] if loose[0] == ends[1] else ends[1]
        way = at.vertices[loose[0]] - at.vertices[other]
        size = float(np.linalg.norm(way))
        way = way / size if size > 0.0 else np.full(3, 3.0**-0.5)
        at.vertices[loose[0]] = at.vertices[other] + APART_ULP * at.ulp * way
        moved.add(loose[0])
    rows = np.array(sorted(moved), dtype=np.int64)
    at.changed(rows)
    return rows


def part_twins(at: SliverSurface) -> IntArray:
    """Draw vertices apart that pinch the surface once rounded, even fixed ones; return which were moved."""
    weld = weld_exact(at.vertices.astype(np.float32))
    if weld.merged == 0:
        return np.zeros(0, dtype=np.int64)
    label = weld.label
    table = edge_table(label[at.faces])
    bad = (table.forward != 1) | (table.backward != 1)
    if not bad.any():
        return np.zeros(0, dtype=np.int64)
    twins = np.bincount(label)[label] > 1
    pinched = np.unique(at.faces[bad[table.of_face].any(axis=1)])
    rows = pinched[twins[pinched]]
    _draw(at, rows)
    return np.asarray(rows)


def uncross(at: SliverSurface) -> IntArray:
    """Draw loose vertices apart whose triangles cross once rounded; return which were moved.

    Only vertices within rounding of the other triangle move: surfaces that truly cross stay as they are. Nor
    are triangles between fixed vertices looked at. Where not less would cross afterwards, nothing is moved.
    """
    if at.searches == _MOST_SEARCHES:
        return np.zeros(0, dtype=np.int64)
    at.searches += 1
    pairs = _crossing(at, at.stale)
    at.stale[:] = False
    at.crossing = len(pairs)
    if len(pairs) == 0:
        return np.zeros(0, dtype=np.int64)
    rows, back = _back_through(at, pairs)
    before, best, fewest = at.vertices, at.vertices, len(pairs)
    for draw in (_draw, partial(_shift, way=back)):
        at.vertices = before.copy()
        left = draw(at, rows)
        if left < fewest:
            best, fewest = at.vertices, left
        if left == 0:
            break
    at.vertices = best
    if best is before:
        at.stale[:] = False
        return rows[:0]
    return rows


def _back_through(at: SliverSurface, pairs: IntArray) -> tuple[IntArray, FloatArray]:
    """Return loose corners of paired faces that lie on the other face, or nearly, and the ways across it."""
    ways = np.zeros_like(at.vertices)
    count = np.zeros(len(at.vertices))
    for one, other in (pairs.T, pairs.T[::-1]):
        corners = at.faces[one]
        points, faces = at.vertices[corners], at.vertices[at.faces[other]]
        gap = np.linalg.norm(closest_on_triangles(points, faces[:, None]) - points, axis=2)
        own = (corners[:, :, None] != at.faces[other][:, None, :]).all(axis=2)
        near = own & (gap < 2.0 * APART_ULP * at.ulp) & ~at.fixed[corners]
        normal = unit(doubled(faces))
        height = np.einsum("kij,kj->ki", points - faces[:, :1], normal)
        through = height + np.where(height < 0.0, -1.0, 1.0) * APART_ULP * at.ulp
        np.add.at(ways, corners[near], (-through[:, :, None] * normal[:, None])[near])
        np.add.at(count, corners[near], 1.0)
    rows = np.flatnonzero(count)
    return rows, ways[rows] / count[rows, None]


def _draw(at: SliverSurface, rows: IntArray) -> int:
    """Move vertices against their normals, or along them where triangles cross otherwise.

    Two sheets with material on either side of the gap come apart when both are drawn into it; where what is
    left between them is a film of material, that film grows. Return how many pairs cross around them.
    """
    way = APART_ULP * at.ulp * vertex_normals(at.vertices, at.faces)[rows]
    moved = _marked(at, rows)
    at.changed(rows)
    at.vertices[rows] -= way
    inward = _crossing(at, moved)
    if len(inward) == 0:
        return 0
    out = 2.0 * np.where(at.corners(inward.ravel())[rows, None], way, 0.0)
    at.vertices[rows] += out
    outward = len(_crossing(at, moved))
    if outward >= len(inward):
        at.vertices[rows] -= out
    return min(outward, len(inward))


def _shift(at: SliverSurface, rows: IntArray, *, way: FloatArray) -> int:
    """Move vertices by given ways; return how many pairs cross around them."""
    at.changed(rows)
    at.vertices[rows] += way
    return len(_crossing(at, _marked(at, rows)))


def _marked(at: SliverSurface, rows: IntArray) -> BoolArray:
    marked = np.zeros(len(at.vertices), dtype=bool)
    marked[rows] = True
    return marked


def _crossing(at: SliverSurface, corners: BoolArray) -> IntArray:
    """Return the pairs of faces that meet once rounded, of which one has a marked corner."""
    among = corners[at.faces].any(axis=1)
    return meeting_pairs(at.rounded, at.faces, among=None if among.all() else np.asarray(among)).all

"""Slivers: making a closed mesh one that stays whole when its coordinates are rounded to 32 bits.

Booleans leave edges and heights far below what a file of 32-bit numbers can hold; a reader that merges
equal positions then finds open edges, and triangles that rounding turned over cross their neighbours. Here
such edges are collapsed and such flat triangles flipped away, on the closed mesh, so that it stays closed and
keeps its volume.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mirrorprep.geometry.drawn_apart import APART_ULP, part_twins, spread, uncross
from mirrorprep.geometry.mass_properties import signed_volume_mm3
from mirrorprep.geometry.normals import doubled_areas
from mirrorprep.geometry.sliver_edits import SliverPass
from mirrorprep.geometry.sliver_surface import SliverSurface

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

_MOST_PASSES = 60
_RINGS = 2


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Cleaned:
    """A mesh without slivers.

    Attributes
    ----------
    vertices : (n, 3) float64
        In mm; unused vertices are gone, fixed ones unmoved.
    faces : (m, 3) int64
        As closed as before.
    collapsed_edges, flipped_edges, moved_vertices : int
        How much was done.
    moved_fixed : int
        How many of the moved vertices were fixed.
    remaining : int
        Triangles that still have no area once they are rounded.
    crossing : int
        Pairs of triangles, not between fixed vertices only, that cross once they are rounded.
    largest_move_mm : float
        Length of the longest edge that became a point, height of the highest triangle removed or greatest
        move apart.
    """

    vertices: FloatArray
    faces: IntArray
    collapsed_edges: int
    flipped_edges: int
    moved_vertices: int
    moved_fixed: int
    remaining: int
    crossing: int
    largest_move_mm: float


def without_slivers(vertices: FloatArray, faces: IntArray, *, fixed: BoolArray | None = None) -> Cleaned:
    """Return a closed mesh without edges and heights that 32-bit coordinates cannot hold.

    Edges whose ends become one when rounded are collapsed onto one of them; triangles that lose their area,
    or are lower than a unit in the last place, are flipped into their neighbour, or their middle corner
    slides along a straight crease onto the next. Where that would tear the surface, loose vertices are moved
    apart by a few units in the last place of the largest coordinate. So are vertices that would merge
    although no edge joins them, even fixed ones (there is no other way to keep the surface apart), and loose
    ones of triangles that would cross. At last the loose vertices around what was changed move by far less
    than such a unit, so that the volume is what it was.

    Parameters
    ----------
    vertices : (n, 3) float64
        In mm.
    faces : (m, 3) int64
        Closed: every edge in two faces, in opposite order.
    fixed : (n,) bool, optional
        Vertices that must stay. An edge between two of them is left as it is.

    Returns
    -------
    Cleaned
        The mesh and what was done.

    Notes
    -----
    Edges are collapsed only where the link condition holds (T. K. Dey et al., "Topology preserving edge
    contraction", Publ. Inst. Math. 66 (1999) 23-45), so a closed manifold stays one.

    Examples
    --------
    >>> cube = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)], dtype=float)
    >>> quads = np.array([[0, 1, 3, 2], [4, 6, 7, 5], [0, 4, 5, 1], [2, 3, 7, 6], [0, 2, 6, 4], [1, 5, 7, 3]])
    >>> faces = np.vstack([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])
    >>> without_slivers(cube, faces).collapsed_edges
    0
    """
    surface, done = SliverSurface(vertices, faces, fixed), _Done()
    volume = signed_volume_mm3(surface.vertices, surface.faces)
    for _ in range(_MOST_PASSES):
        if done.edit(surface):
            continue
        _give_back(surface, volume)
        if not any(done.draw(surface, way) for way in (spread, part_twins, uncross)):
            break
    used, compact = np.unique(surface.faces, return_inverse=True)
    return Cleaned(
        vertices=surface.vertices[used],
        faces=compact.reshape(-1, 3).astype(np.int64),
        collapsed_edges=done.collapsed,
        flipped_edges=done.flipped,
        moved_vertices=done.moved,
        moved_fixed=done.moved_fixed,
        remaining=len(surface.vanishing()),
        crossing=surface.crossing,
        largest_move_mm=done.largest_move_mm,
    )


@dataclass(slots=True)
class _Done:
    """What was done so far."""

    collapsed: int = 0
    flipped: int = 0
    moved: int = 0
    moved_fixed: int = 0
    largest_move_mm: float = 0.0

    def edit(self, at: SliverSurface) -> int:
        """Collapse and flip once over the mesh; return how many slivers were mended."""
        once = SliverPass(at)
        mended = once.run()
        self.collapsed += once.collapsed
        self.flipped += once.flipped
        self.largest_move_mm = max(self.largest_move_mm, once.largest_move_mm)
        return mended

    def draw(self, at: SliverSurface, way: Callable[[SliverSurface], IntArray]) -> int:
        """Move vertices apart; return how many."""
        rows = way(at)
        self.moved += len(rows)
        self.moved_fixed += int(at.fixed[rows].sum())
        self.largest_move_mm = max(self.largest_move_mm, APART_ULP * at.ulp if len(rows) else 0.0)
        return len(rows)


def _give_back(at: SliverSurface, volume: float) -> None:
    """Move the loose vertices around what was changed by the least way that restores the volume."""
    owed = volume - signed_volume_mm3(at.vertices, at.faces)
    if owed == 0.0:
        return
    near = at.watched.copy()
    for _ in range(_RINGS):
        near[at.faces[near[at.faces].any(axis=1)]] = True
    near &= ~at.fixed
    rows = np.flatnonzero(near if near.any() else ~at.fixed)
    slope = _volume_slope(at, rows)
    steepness = float((slope * slope).sum())
    if steepness > 0.0:
        at.vertices[rows] += owed / steepness * slope
        at.stale[rows] = True


def _volume_slope(at: SliverSurface, rows: IntArray) -> FloatArray:
    """Return how the volume grows with some vertices' places: a third of the area vectors around each."""
    number = np.full(len(at.vertices), -1)
    number[rows] = np.arange(len(rows))
    faces = at.faces[(number[at.faces] >= 0).any(axis=1)]
    corners = number[faces].ravel()
    mine = corners >= 0
    doubled = np.repeat(doubled_areas(at.vertices, faces), 3, axis=0)[mine]
    sums = [np.bincount(corners[mine], doubled[:, axis], len(rows)) for axis in range(3)]
    return np.asarray(np.stack(sums, axis=1) / 6.0)

"""The closed mesh from which slivers are removed, and what can be asked of it while it changes."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

THIN_ULP: Final = 1.0
"""Height below which rounding can turn a triangle over, in units of the last place."""

_VANISHING_ULP: Final = 4.0
_NO_ULP: Final = 1e-3


class SliverSurface:
    """A closed mesh that is edited in place.

    Attributes
    ----------
    vertices : (n, 3) float64
        In mm.
    faces : (m, 3) int64
        Every edge in two faces, in opposite order.
    fixed : (n,) bool
        Vertices that must stay.
    watched : (n,) bool
        Corners of slivers, and whatever was changed on their account.
    stale : (n,) bool
        Vertices whose faces are still to be searched for crossings.
    crossing : int
        Pairs of faces that were found to cross once rounded and still do.
    searches : int
        How often crossings were searched for.
    ulp : float
        Unit in the last place of the largest coordinate, as 32 bits hold it.
    """

    def __init__(self, vertices: FloatArray, faces: IntArray, fixed: BoolArray | None) -> None:
        self.vertices = np.array(vertices, dtype=np.float64)
        self.faces = np.array(faces, dtype=np.int64)
        self.fixed = np.zeros(len(vertices), dtype=bool) if fixed is None else fixed
        self.ulp = float(np.spacing(np.float32(np.abs(vertices).max(initial=1.0))))
        self.watched = np.ones(len(vertices), dtype=bool)
        self.watched = self.corners(self.slivers())
        self.stale = ~self.fixed
        self.crossing = 0
        self.searches = 0

    @property
    def rounded(self) -> FloatArray:
        """The vertices as 32 bits hold them, shape (n, 3)."""
        return np.asarray(self.vertices.astype(np.float32).astype(np.float64))

    def slivers(self) -> IntArray:
        """Return the watched faces that vanish when rounded, or that rounding can turn over."""
        rows = np.flatnonzero(self.watched[self.faces].any(axis=1))
        corners = self.vertices[self.faces[rows]]
        height = heights(corners)
        low = height < _VANISHING_ULP * self.ulp
        rows, corners, height = rows[low], corners[low], height[low]
        return rows[(height < THIN_ULP * self.ulp) | _vanish(corners)]

    def vanishing(self) -> IntArray:
        """Return the watched faces that have no area once they are rounded."""
        rows = self.slivers()
        return rows[_vanish(self.vertices[self.faces[rows]])]

    def changed(self, vertices: IntArray | list[int]) -> None:
        """Note that vertices or their faces were changed."""
        self.watched[vertices] = True
        self.stale[vertices] = True

    def corners(self, rows: IntArray) -> BoolArray:
        """Mark the corners of some faces, shape (n,)."""
        corners = np.zeros(len(self.vertices), dtype=bool)
        corners[self.faces[rows]] = True
        return corners

    def merges(self, first: int, second: int) -> bool:
        """Tell whether two vertices become one when rounded, or nearly are one already."""
        ends = self.vertices[[first, second]]
        same = (ends[0].astype(np.float32) == ends[1].astype(np.float32)).all()
        return bool(same or np.linalg.norm(ends[1] - ends[0]) < _NO_ULP * self.ulp)

    def index(self) -> None:
        """List the faces around the watched vertices and their neighbours anew."""
        near = self.watched[self.faces].any(axis=1)
        rows = np.flatnonzero(self.corners(np.flatnonzero(near))[self.faces].any(axis=1))
        corners = self.faces[rows].ravel()
        order = np.argsort(corners, kind="stable")
        self._order = rows[order // 3]
        self._start = np.searchsorted(corners[order], np.arange(len(self.vertices) + 1))

    def around(self, vertex: int) -> list[int]:
        """Return the faces around a watched vertex or a neighbour, as of the last `index`."""
        return [int(f) for f in self._order[self._start[vertex] : self._start[vertex + 1]]]

    def link(self, around: list[int], without: set[int]) -> set[int]:
        """Return the vertices of some faces, except a few."""
        return set(self.faces[around].ravel().tolist()) - without

    def sides(self, row: int) -> FloatArray:
        """Return the lengths of the sides 0-1, 1-2, 2-0 of a face."""
        a, b, c = self.vertices[self.faces[row]]
        return np.asarray(np.linalg.norm([b - a, c - b, a - c], axis=1))

    def height(self, i: int, j: int, k: int) -> float:
        """Return the height of a triangle over its longest side."""
        return float(heights(self.vertices[[[i, j, k]]])[0])

    def kept_end(self, first: int, second: int) -> tuple[int, int]:
        """Return the end of an edge to keep and the one to drop: a fixed one, or what changes less volume."""
        if self.fixed[first] != self.fixed[second]:
            return (first, second) if self.fixed[first] else (second, first)
        way = self.vertices[second] - self.vertices[first]
        onto_second = abs(self._slope(first) @ way)
        onto_first = abs(self._slope(second) @ way)
        return (first, second) if onto_first <= onto_second else (second, first)

    def _slope(self, vertex: int) -> FloatArray:
        """Return how the volume grows with a vertex's place: a third of the area vectors around it."""
        return np.asarray(doubled(self.vertices[self.faces[self.around(vertex)]]).sum(axis=0) / 6.0)

    def slides(self, vertex: int, goal: int) -> bool:
        """Tell whether a loose vertex can go to a neighbour's place and stay in the planes of its faces.

        So it is along a straight crease; a corner is kept. No face may turn over or become a sliver, and
        slivers stay slivers.
        """
        if self.fixed[vertex]:
            return False
        faces = self.faces[[face for face in self.around(vertex) if goal not in self.faces[face]]]
        corners = self.vertices[faces]
        before, least = doubled(corners), THIN_ULP * self.ulp
        was_thin = heights(corners) < least
        lift = np.abs(before @ (self.vertices[goal] - self.vertices[vertex]))
        lifted = lift > self.ulp * np.linalg.norm(before, axis=1)
        corners[faces == vertex] = self.vertices[goal]
        thin = heights(corners) < least
        turned = np.einsum("ij,ij->i", before, doubled(corners)) <= 0.0
        return not np.where(was_thin, ~thin, lifted | turned | thin).any()


def doubled(corners: FloatArray) -> FloatArray:
    """Return normals times twice the areas of triangles given by their corners (k, 3, 3)."""
    a, b, c = np.moveaxis(corners, 1, 0)
    return np.cross(b - a, c - a)


def heights(corners: FloatArray) -> FloatArray:
    """Return the heights of triangles, given by their corners (k, 3, 3), over their longest sides.

    Examples
    --------
    >>> heights(np.array([[[0.0, 0, 0], [4, 0, 0], [1, 2, 0]]])).tolist()
    [2.0]
    """
    a, b, c = np.moveaxis(corners, 1, 0)
    squared = [np.einsum("ij,ij->i", side, side) for side in (b - a, c - b, a - c)]
    longest = np.sqrt(np.maximum(np.maximum(squared[0], squared[1]), squared[2]))
    double = np.linalg.norm(np.cross(b - a, c - a), axis=1)
    return np.asarray(np.divide(double, longest, out=np.zeros_like(double), where=longest > 0.0))


def _vanish(corners: FloatArray) -> BoolArray:
    return np.asarray(~doubled(corners.astype(np.float32).astype(np.float64)).any(axis=1))

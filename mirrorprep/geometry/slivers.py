"""Slivers: removing triangles that vanish when coordinates are rounded to 32 bits.

Booleans leave edges and heights far below what a file of 32-bit numbers can hold; a reader that merges
equal positions then finds open edges. Here such edges are collapsed and such flat triangles are flipped
away, on the closed mesh, so that it stays closed.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mirrorprep.geometry.normals import vertex_normals
from mirrorprep.geometry.topology import edge_table
from mirrorprep.geometry.weld import weld_exact

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

APART_ULP = 4.0
"""How far vertices are moved apart."""

_LOW_ULP = 4.0
_FLAT_ULP = 1e-3
_MOST_PASSES = 40


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
        Slivers that could not be removed.
    largest_move_mm : float
        Length of the longest edge collapsed, height of the highest triangle flipped away or greatest move.
    """

    vertices: FloatArray
    faces: IntArray
    collapsed_edges: int
    flipped_edges: int
    moved_vertices: int
    moved_fixed: int
    remaining: int
    largest_move_mm: float


def without_slivers(vertices: FloatArray, faces: IntArray, *, fixed: BoolArray | None = None) -> Cleaned:
    """Return a closed mesh without edges and heights that 32-bit coordinates cannot hold.

    Edges whose ends become one when rounded are collapsed onto one of them, and triangles that lose their
    area are flipped into their neighbour. Where that would tear the surface, loose vertices are moved apart
    by a few units in the last place of the largest coordinate instead. Vertices that would merge although no
    edge joins them, so that the surface would pinch, are drawn inward by as much, even fixed ones: there is
    no other way to keep the surface apart.

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
    work = _Work(vertices, faces, fixed)
    for _ in range(_MOST_PASSES):
        if work.one_pass() == 0 and work.spread() == 0 and work.part_twins() == 0:
            break
    used, compact = np.unique(work.faces, return_inverse=True)
    return Cleaned(
        vertices=work.vertices[used],
        faces=compact.reshape(-1, 3).astype(np.int64),
        collapsed_edges=work.collapsed,
        flipped_edges=work.flipped,
        moved_vertices=work.moved,
        moved_fixed=work.moved_fixed,
        remaining=work.offenders()[0].size,
        largest_move_mm=work.largest_move,
    )


class _Work:
    """The mesh while it changes: passes of independent collapses and flips."""

    def __init__(self, vertices: FloatArray, faces: IntArray, fixed: BoolArray | None) -> None:
        self.vertices = np.array(vertices, dtype=np.float64)
        self.faces = np.array(faces, dtype=np.int64)
        self.fixed = np.zeros(len(vertices), dtype=bool) if fixed is None else fixed
        self.ulp = float(np.spacing(np.float32(np.abs(vertices).max(initial=1.0))))
        self.collapsed = 0
        self.flipped = 0
        self.moved = 0
        self.moved_fixed = 0
        self.largest_move = 0.0

    def offenders(self) -> tuple[IntArray, FloatArray, FloatArray]:
        """Return the faces that would vanish, their edge lengths (k, 3) and their heights (k,)."""
        a, b, c = (self.vertices[self.faces[:, i]] for i in range(3))
        sides = (b - a, c - b, a - c)
        lengths = np.stack([np.sqrt(np.einsum("ij,ij->i", side, side)) for side in sides], axis=1)
        longest = lengths.max(axis=1)
        double = np.linalg.norm(np.cross(sides[0], -sides[2]), axis=1)
        height = np.divide(double, longest, out=np.zeros_like(double), where=longest > 0.0)
        near = np.flatnonzero(height < _LOW_ULP * self.ulp)
        rows = near[self._vanishes(near) | (height[near] < _FLAT_ULP * self.ulp)]
        return rows, lengths[rows], height[rows]

    def _rounded(self, rows: IntArray) -> NDArray[np.float64]:
        return self.vertices[self.faces[rows]].astype(np.float32).astype(np.float64)

    def _vanishes(self, rows: IntArray) -> BoolArray:
        a, b, c = np.moveaxis(self._rounded(rows), 1, 0)
        return np.asarray(~np.cross(b - a, c - a).any(axis=1))

    def _merges(self, first: int, second: int) -> bool:
        """Tell whether two vertices become one when rounded, or nearly are one already."""
        ends = self.vertices[[first, second]]
        same = (ends[0].astype(np.float32) == ends[1].astype(np.float32)).all()
        return bool(same or np.linalg.norm(ends[1] - ends[0]) < _FLAT_ULP * self.ulp)

    def one_pass(self) -> int:
        """Mend slivers that share no face; return how many were mended."""
        rows, lengths, heights = self.offenders()
        if len(rows) == 0:
            return 0
        self._index()
        self._busy: set[int] = set()
        self._dead: list[int] = []
        done = sum(
            self._mend(int(row), length, float(height))
            for row, length, height in zip(rows, lengths, heights, strict=True)
        )
        self.faces = np.delete(self.faces, self._dead, axis=0)
        return done

    def spread(self) -> int:
        """Move loose ends of edges that 32 bits cannot hold apart; return how many were moved."""
        rows, lengths, _ = self.offenders()
        moved = 0
        for row, length in zip(rows, lengths, strict=True):
            i = int(np.argmin(length))
            ends = [int(self.faces[row, i]), int(self.faces[row, (i + 1) % 3])]
            loose = [vertex for vertex in ends if not self.fixed[vertex]]
            if not loose or not self._merges(*ends):
                continue
            other = ends[0] if loose[0] == ends[1] else ends[1]
            way = self.vertices[loose[0]] - self.vertices[other]
            size = float(np.linalg.norm(way))
            way = way / size if size > 0.0 else np.full(3, 3.0**-0.5)
            self.vertices[loose[0]] = self.vertices[other] + APART_ULP * self.ulp * way
            self.largest_move = max(self.largest_move, APART_ULP * self.ulp)
            moved += 1
        self.moved += moved
        return moved

    def part_twins(self) -> int:
        """Draw vertices inward that pinch the surface once rounded; return how many were moved."""
        label = weld_exact(self.vertices.astype(np.float32)).label
        table = edge_table(label[self.faces])
        bad = (table.forward != 1) | (table.backward != 1)
        if not bad.any():
            return 0
        twins = np.bincount(label)[label] > 1
        pinched = np.unique(self.faces[bad[table.of_face].any(axis=1)])
        rows = pinched[twins[pinched]]
        step = APART_ULP * self.ulp
        self.vertices[rows] -= step * vertex_normals(self.vertices, self.faces)[rows]
        self.largest_move = max(self.largest_move, step) if len(rows) else self.largest_move
        self.moved += len(rows)
        self.moved_fixed += int(self.fixed[rows].sum())
        return len(rows)

    def _index(self) -> None:
        corners = self.faces.ravel()
        self._order = np.argsort(corners, kind="stable") // 3
        self._start = np.searchsorted(np.sort(corners), np.arange(len(self.vertices) + 1))

    def _around(self, vertex: int) -> list[int]:
        return [int(f) for f in self._order[self._start[vertex] : self._start[vertex + 1]]]

    def _mend(self, row: int, lengths: FloatArray, height: float) -> bool:
        face = self.faces[row].tolist()
        for i in np.argsort(lengths).tolist():
            start, stop = face[i], face[(i + 1) % 3]
            if self._merges(start, stop) and self._collapse(start, stop):
                self.collapsed += 1
                self.largest_move = max(self.largest_move, float(lengths[i]))
                return True
        if self._flip(row, int(np.argmax(lengths))):
            self.flipped += 1
            self.largest_move = max(self.largest_move, height)
            return True
        return False

    def _collapse(self, first: int, second: int) -> bool:
        """Move the loose end of an edge onto the other, if the surface stays a closed manifold."""
        if self.fixed[first] and self.fixed[second]:
            return False
        keep, drop = self._kept_end(first, second)
        around_keep, around_drop = self._around(keep), self._around(drop)
        if self._busy.intersection(around_keep) or self._busy.intersection(around_drop):
            return False
        shared = set(around_keep).intersection(around_drop)
        link_keep = set(self.faces[around_keep].ravel().tolist()) - {keep, drop}
        link_drop = set(self.faces[around_drop].ravel().tolist()) - {keep, drop}
        opposite = set(self.faces[list(shared)].ravel().tolist()) - {keep, drop}
        if len(shared) != 2 or link_keep & link_drop != opposite or len(link_keep | link_drop) < 4:
            return False
        change = float(self._gradient(drop, around_drop) @ (self.vertices[keep] - self.vertices[drop]))
        for f in set(around_drop) - shared:
            self.faces[f][self.faces[f] == drop] = keep
        if not self.fixed[keep]:
            self._restore(keep, list((set(around_keep) | set(around_drop)) - shared), change)
        self._dead.extend(shared)
        self._busy.update(around_keep, around_drop)
        return True

    def _kept_end(self, first: int, second: int) -> tuple[int, int]:
        """Return the end of an edge to keep and the one to drop: a fixed one, or what changes less volume."""
        if self.fixed[first] != self.fixed[second]:
            return (first, second) if self.fixed[first] else (second, first)
        way = self.vertices[second] - self.vertices[first]
        onto_second = abs(self._gradient(first, self._around(first)) @ way)
        onto_first = abs(self._gradient(second, self._around(second)) @ way)
        return (first, second) if onto_first <= onto_second else (second, first)

    def _gradient(self, vertex: int, around: list[int]) -> FloatArray:
        """Return how the volume grows with a vertex's place: a third of the area vectors around it."""
        corners = self.vertices[self.faces[around]] - self.vertices[vertex]
        return np.asarray(
            np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]).sum(axis=0) / 6.0
        )

    def _restore(self, vertex: int, around: list[int], volume: float) -> None:
        """Move a vertex so that the volume shrinks by as much as a collapse added, if that is a small way."""
        slope = self._gradient(vertex, around)
        steepness = float(slope @ slope)
        if steepness > 0.0 and abs(volume) < self.ulp * np.sqrt(steepness):
            self.vertices[vertex] -= volume / steepness * slope

    def _height(self, i: int, j: int, k: int) -> float:
        """Return the height of a triangle over its longest side."""
        a, b, c = self.vertices[[i, j, k]]
        longest = max(float(np.linalg.norm(e)) for e in (b - a, c - b, a - c))
        return float(np.linalg.norm(np.cross(b - a, c - a))) / longest if longest > 0.0 else 0.0

    def _flip(self, row: int, longest: int) -> bool:
        """Swap the longest edge of a flat triangle for the one across it."""
        p, q, r = (int(self.faces[row, (longest + i) % 3]) for i in range(3))
        around_p, around_q = self._around(p), self._around(q)
        across = [f for f in set(around_p) & set(around_q) if f != row]
        if len(across) != 1 or self._busy.intersection((row, across[0])):
            return False
        other = across[0]
        s = next(int(i) for i in self.faces[other] if i not in (p, q))
        near_r = self._around(r)
        if s in self.faces[near_r] or r == s or self._busy.intersection(near_r):
            return False
        if min(self._height(p, s, r), self._height(s, q, r)) <= min(
            self._height(p, q, r), self._height(q, p, s)
        ):
            return False
        self.faces[row] = (p, s, r)
        self.faces[other] = (s, q, r)
        self._busy.update(around_p, around_q, near_r, self._around(s))
        return True

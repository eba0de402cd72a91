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
    surface = _Surface(vertices, faces, fixed)
    done = _Done()
    for _ in range(_MOST_PASSES):
        if (
            _Pass(surface, done).run() == 0
            and _spread(surface, done) == 0
            and _part_twins(surface, done) == 0
        ):
            break
    used, compact = np.unique(surface.faces, return_inverse=True)
    return Cleaned(
        vertices=surface.vertices[used],
        faces=compact.reshape(-1, 3).astype(np.int64),
        collapsed_edges=done.collapsed,
        flipped_edges=done.flipped,
        moved_vertices=done.moved,
        moved_fixed=done.moved_fixed,
        remaining=surface.offenders()[0].size,
        largest_move_mm=done.largest_move,
    )


@dataclass(slots=True)
class _Done:
    """What was done so far."""

    collapsed: int = 0
    flipped: int = 0
    moved: int = 0
    moved_fixed: int = 0
    largest_move: float = 0.0

    def reached(self, way: float) -> None:
        """Note a move."""
        self.largest_move = max(self.largest_move, way)


class _Surface:
    """The mesh while it changes, and what can be asked of it."""

    def __init__(self, vertices: FloatArray, faces: IntArray, fixed: BoolArray | None) -> None:
        self.vertices = np.array(vertices, dtype=np.float64)
        self.faces = np.array(faces, dtype=np.int64)
        self.fixed = np.zeros(len(vertices), dtype=bool) if fixed is None else fixed
        self.ulp = float(np.spacing(np.float32(np.abs(vertices).max(initial=1.0))))

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

    def _vanishes(self, rows: IntArray) -> BoolArray:
        rounded = self.vertices[self.faces[rows]].astype(np.float32).astype(np.float64)
        a, b, c = np.moveaxis(rounded, 1, 0)
        return np.asarray(~np.cross(b - a, c - a).any(axis=1))

    def merges(self, first: int, second: int) -> bool:
        """Tell whether two vertices become one when rounded, or nearly are one already."""
        ends = self.vertices[[first, second]]
        same = (ends[0].astype(np.float32) == ends[1].astype(np.float32)).all()
        return bool(same or np.linalg.norm(ends[1] - ends[0]) < _FLAT_ULP * self.ulp)

    def index(self) -> None:
        """List the faces around each vertex anew."""
        corners = self.faces.ravel()
        self._order = np.argsort(corners, kind="stable") // 3
        self._start = np.searchsorted(np.sort(corners), np.arange(len(self.vertices) + 1))

    def around(self, vertex: int) -> list[int]:
        """Return the faces around a vertex, as of the last `index`."""
        return [int(f) for f in self._order[self._start[vertex] : self._start[vertex + 1]]]

    def link(self, around: list[int], without: set[int]) -> set[int]:
        """Return the vertices of some faces, except a few."""
        return set(self.faces[around].ravel().tolist()) - without

    def gradient(self, vertex: int, around: list[int]) -> FloatArray:
        """Return how the volume grows with a vertex's place: a third of the area vectors around it."""
        corners = self.vertices[self.faces[around]] - self.vertices[vertex]
        doubled = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        return np.asarray(doubled.sum(axis=0) / 6.0)

    def kept_end(self, first: int, second: int) -> tuple[int, int]:
        """Return the end of an edge to keep and the one to drop: a fixed one, or what changes less volume."""
        if self.fixed[first] != self.fixed[second]:
            return (first, second) if self.fixed[first] else (second, first)
        way = self.vertices[second] - self.vertices[first]
        onto_second = abs(self.gradient(first, self.around(first)) @ way)
        onto_first = abs(self.gradient(second, self.around(second)) @ way)
        return (first, second) if onto_first <= onto_second else (second, first)

    def restore(self, vertex: int, around: list[int], volume: float) -> None:
        """Move a loose vertex so that the volume shrinks by what a collapse added, if that is a small way."""
        slope = self.gradient(vertex, around)
        steepness = float(slope @ slope)
        small = steepness > 0.0 and abs(volume) < self.ulp * np.sqrt(steepness)
        if small and not self.fixed[vertex]:
            self.vertices[vertex] -= volume / steepness * slope

    def height(self, i: int, j: int, k: int) -> float:
        """Return the height of a triangle over its longest side."""
        a, b, c = self.vertices[[i, j, k]]
        longest = max(float(np.linalg.norm(e)) for e in (b - a, c - b, a - c))
        return float(np.linalg.norm(np.cross(b - a, c - a))) / longest if longest > 0.0 else 0.0


class _Pass:
    """One pass of collapses and flips that share no face."""

    def __init__(self, surface: _Surface, done: _Done) -> None:
        self.surface = surface
        self.done = done
        self.busy: set[int] = set()
        self.dead: list[int] = []

    def run(self) -> int:
        """Mend slivers; return how many were mended."""
        rows, lengths, heights = self.surface.offenders()
        if len(rows) == 0:
            return 0
        self.surface.index()
        mended = sum(
            self._mend(int(row), length, float(height))
            for row, length, height in zip(rows, lengths, heights, strict=True)
        )
        self.surface.faces = np.delete(self.surface.faces, self.dead, axis=0)
        return mended

    def _mend(self, row: int, lengths: FloatArray, height: float) -> bool:
        face = self.surface.faces[row].tolist()
        for i in np.argsort(lengths).tolist():
            start, stop = face[i], face[(i + 1) % 3]
            if self.surface.merges(start, stop) and self._collapse(start, stop):
                self.done.collapsed += 1
                self.done.reached(float(lengths[i]))
                return True
        if self._flip(row, int(np.argmax(lengths))):
            self.done.flipped += 1
            self.done.reached(height)
            return True
        return False

    def _collapse(self, first: int, second: int) -> bool:
        """Move the loose end of an edge onto the other, if the surface stays a closed manifold."""
        at = self.surface
        if at.fixed[first] and at.fixed[second]:
            return False
        keep, drop = at.kept_end(first, second)
        around_keep, around_drop = at.around(keep), at.around(drop)
        if self.busy.intersection(around_keep) or self.busy.intersection(around_drop):
            return False
        ends, shared = {keep, drop}, set(around_keep).intersection(around_drop)
        link_keep, link_drop = at.link(around_keep, ends), at.link(around_drop, ends)
        opposite = at.link(list(shared), ends)
        if len(shared) != 2 or link_keep & link_drop != opposite or len(link_keep | link_drop) < 4:
            return False
        change = float(at.gradient(drop, around_drop) @ (at.vertices[keep] - at.vertices[drop]))
        for f in set(around_drop) - shared:
            at.faces[f][at.faces[f] == drop] = keep
        at.restore(keep, list((set(around_keep) | set(around_drop)) - shared), change)
        self.dead.extend(shared)
        self.busy.update(around_keep, around_drop)
        return True

    def _flip(self, row: int, longest: int) -> bool:
        """Swap the longest edge of a flat triangle for the one across it, if that leaves less flat ones."""
        at = self.surface
        p, q, r = (int(at.faces[row, (longest + i) % 3]) for i in range(3))
        around_p, around_q, around_r = at.around(p), at.around(q), at.around(r)
        across = [f for f in set(around_p) & set(around_q) if f != row]
        if len(across) != 1 or self.busy.intersection((row, across[0], *around_r)):
            return False
        other = across[0]
        s = next(int(i) for i in at.faces[other] if i not in (p, q))
        if r == s or s in at.faces[around_r]:
            return False
        before = min(at.height(p, q, r), at.height(q, p, s))
        if min(at.height(p, s, r), at.height(s, q, r)) <= before:
            return False
        at.faces[row] = (p, s, r)
        at.faces[other] = (s, q, r)
        self.busy.update(around_p, around_q, around_r, at.around(s))
        return True


def _spread(at: _Surface, done: _Done) -> int:
    """Move loose ends of edges that 32 bits cannot hold apart; return how many were moved."""
    rows, lengths, _ = at.offenders()
    moved = 0
    for row, length in zip(rows, lengths, strict=True):
        i = int(np.argmin(length))
        ends = [int(at.faces[row, i]), int(at.faces[row, (i + 1) % 3])]
        loose = [vertex for vertex in ends if not at.fixed[vertex]]
        if not loose or not at.merges(*ends):
            continue
        other = ends[0] if loose[0] == ends[1] else ends[1]
        way = at.vertices[loose[0]] - at.vertices[other]
        size = float(np.linalg.norm(way))
        way = way / size if size > 0.0 else np.full(3, 3.0**-0.5)
        at.vertices[loose[0]] = at.vertices[other] + APART_ULP * at.ulp * way
        done.reached(APART_ULP * at.ulp)
        moved += 1
    done.moved += moved
    return moved


def _part_twins(at: _Surface, done: _Done) -> int:
    """Draw vertices inward that pinch the surface once rounded; return how many were moved."""
    label = weld_exact(at.vertices.astype(np.float32)).label
    table = edge_table(label[at.faces])
    bad = (table.forward != 1) | (table.backward != 1)
    if not bad.any():
        return 0
    twins = np.bincount(label)[label] > 1
    pinched = np.unique(at.faces[bad[table.of_face].any(axis=1)])
    rows = pinched[twins[pinched]]
    if len(rows):
        at.vertices[rows] -= APART_ULP * at.ulp * vertex_normals(at.vertices, at.faces)[rows]
        done.reached(APART_ULP * at.ulp)
    done.moved += len(rows)
    done.moved_fixed += int(at.fixed[rows].sum())
    return len(rows)

"""Edges, borders and connected bodies of an indexed triangle mesh."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class EdgeTable:
    """The undirected edges of a mesh and how often each direction occurs.

    Attributes
    ----------
    edges : (e, 2) int64
        Vertex pairs, the lower index first, sorted.
    forward, backward : (e,) int64
        How many triangles run along the edge from the lower to the higher index, and the other way.
    of_face : (m, 3) int64
        Row in `edges` of each triangle's edges (0-1, 1-2, 2-0).
    """

    edges: IntArray
    forward: IntArray
    backward: IntArray
    of_face: IntArray

    @property
    def uses(self) -> IntArray:
        """How many triangles share each edge, shape (e,)."""
        return np.asarray(self.forward + self.backward)

    @property
    def open(self) -> NDArray[np.bool_]:
        """Edges of exactly one triangle, shape (e,)."""
        return np.asarray(self.uses == 1)

    @property
    def non_manifold(self) -> NDArray[np.bool_]:
        """Edges of more than two triangles, shape (e,)."""
        return np.asarray(self.uses > 2)

    @property
    def inconsistent(self) -> NDArray[np.bool_]:
        """Edges of two triangles that both run the same way, shape (e,)."""
        return np.asarray((self.uses == 2) & (self.forward != 1))


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class HalfEdgeGroups:
    """The half-edges of a mesh sorted by the edge they lie on.

    Attributes
    ----------
    order : (3 m,) int64
        Half-edges, 3 × face + corner at which each starts; those of one edge in a row, lower numbers first.
    head : (e,) int64
        Place in `order` at which each edge's half-edges start.
    size : (e,) int64
        How many there are.
    """

    order: IntArray
    head: IntArray
    size: IntArray

    def pairs(self) -> tuple[IntArray, IntArray]:
        """Return the two half-edges of every edge that has exactly two."""
        head = self.head[self.size == 2]
        return self.order[head], self.order[head + 1]

    def crowded(self) -> list[IntArray]:
        """Return the half-edges of each edge that has more than two."""
        rows = np.flatnonzero(self.size > 2)
        return [self.order[self.head[row] : self.head[row] + self.size[row]] for row in rows]


def half_edge_groups(faces: IntArray) -> HalfEdgeGroups:
    """Return the half-edges of (m, 3) faces grouped by edge, edges in order of their vertices.

    Examples
    --------
    >>> half_edge_groups(np.array([[0, 1, 2], [1, 0, 3]])).pairs()
    (array([0]), array([3]))
    """
    return _grouped(_edge_keys(faces)[0])


def _edge_keys(faces: IntArray) -> tuple[IntArray, int]:
    start, stop = faces.ravel(), faces[:, [1, 2, 0]].ravel()
    base = int(faces.max(initial=0)) + 1
    return np.minimum(start, stop) * base + np.maximum(start, stop), base


def _grouped(keys: IntArray) -> HalfEdgeGroups:
    bits = max(len(keys).bit_length(), 1)
    if int(keys.max(initial=0)).bit_length() + bits < 63:  # one sort of plain integers is far quicker
        packed = (keys << bits) | np.arange(len(keys))
        packed.sort()
        order, ranked = packed & ((1 << bits) - 1), packed >> bits
    else:
        order = np.argsort(keys, kind="stable")
        ranked = keys[order]
    head = np.flatnonzero(np.append(True, ranked[1:] != ranked[:-1])[: len(ranked)])
    return HalfEdgeGroups(order=order, head=head, size=np.diff(head, append=len(ranked)))


def edge_table(faces: IntArray) -> EdgeTable:
    """Return the edge table of (m, 3) faces.

    Examples
    --------
    >>> int(edge_table(np.array([[0, 1, 2]])).open.sum())
    3
    """
    keys, base = _edge_keys(faces)
    groups = _grouped(keys)
    count = len(groups.head)
    edges = keys[groups.order[groups.head]]
    of_face = np.empty(len(keys), dtype=np.int64)
    of_face[groups.order] = np.repeat(np.arange(count), groups.size)
    ahead = faces.ravel() < faces[:, [1, 2, 0]].ravel()
    forward = np.bincount(of_face[ahead], minlength=count)
    return EdgeTable(
        edges=np.stack([edges // base, edges % base], axis=1),
        forward=forward,
        backward=groups.size - forward,
        of_face=of_face.reshape(-1, 3),
    )


def bodies(faces: IntArray, vertex_count: int) -> tuple[int, IntArray]:
    """Return the number of bodies connected through shared vertices and each face's body number.

    Bodies are numbered by their first face.

    Examples
    --------
    >>> bodies(np.array([[0, 1, 2], [3, 4, 5]]), 6)[0]
    2
    """
    if len(faces) == 0:
        return 0, np.zeros(0, dtype=np.int64)
    rows = faces[:, [0, 1]].ravel()
    columns = faces[:, [1, 2]].ravel()
    graph = coo_array((np.ones(len(rows), dtype=np.int8), (rows, columns)), shape=(vertex_count,) * 2)
    _, label = connected_components(graph, directed=False)
    found, first, number = np.unique(label[faces[:, 0]], return_index=True, return_inverse=True)
    rank = np.empty(len(found), dtype=np.int64)
    rank[np.argsort(first)] = np.arange(len(found))
    return len(found), rank[number]

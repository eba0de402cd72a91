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


def edge_table(faces: IntArray) -> EdgeTable:
    """Return the edge table of (m, 3) faces.

    Examples
    --------
    >>> int(edge_table(np.array([[0, 1, 2]])).open.sum())
    3
    """
    start = faces.ravel()
    stop = faces[:, [1, 2, 0]].ravel()
    low, high = np.minimum(start, stop), np.maximum(start, stop)
    base = int(faces.max(initial=0)) + 1
    keys, of_face = np.unique(low * base + high, return_inverse=True)
    ahead = start < stop
    return EdgeTable(
        edges=np.stack([keys // base, keys % base], axis=1),
        forward=np.bincount(of_face[ahead], minlength=len(keys)),
        backward=np.bincount(of_face[~ahead], minlength=len(keys)),
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

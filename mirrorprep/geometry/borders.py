"""Open borders of an indexed mesh: as groups for a report, as loops for filling."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from mirrorprep.geometry.topology import EdgeTable

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class BorderGroups:
    """Connected open edges, the longest group first.

    Attributes
    ----------
    edges : (k,) int64
        Number of open edges of each group.
    perimeter_mm : (k,) float64
        Their summed length.
    center_mm : (k, 3) float64
        Their mean position.
    """

    edges: IntArray
    perimeter_mm: FloatArray
    center_mm: FloatArray


def border_groups(vertices: FloatArray, open_edges: IntArray) -> BorderGroups:
    """Return the groups of connected open edges (k, 2).

    Examples
    --------
    >>> square = np.array([[0.0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]])
    >>> border_groups(square, np.array([[0, 1], [1, 2], [2, 3], [3, 0]])).perimeter_mm.tolist()
    [4.0]
    """
    used, rows = np.unique(open_edges, return_inverse=True)
    rows = rows.reshape(-1, 2)
    graph = coo_array((np.ones(len(rows), dtype=np.int8), (rows[:, 0], rows[:, 1])), shape=(len(used),) * 2)
    count, label = connected_components(graph, directed=False)
    group = label[rows[:, 0]]
    ends = vertices[open_edges]
    length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
    edges = np.bincount(group, minlength=count)
    perimeter = np.bincount(group, length, minlength=count).astype(np.float64)
    middle = ends.mean(axis=1)
    sums = np.stack([np.bincount(group, middle[:, axis], minlength=count) for axis in range(3)], axis=1)
    order = np.lexsort((np.arange(count), -perimeter))
    return BorderGroups(
        edges=edges[order],
        perimeter_mm=perimeter[order],
        center_mm=(sums / np.maximum(edges, 1)[:, None])[order],
    )


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Border:
    """A closed loop of open edges, in the direction a filling must run.

    Attributes
    ----------
    corners : (k,) int64
        Vertices, the lowest first.
    wings : (k,) int64
        Third vertex of the triangle on the edge from each corner to the next.
    """

    corners: IntArray
    wings: IntArray

    @property
    def parts(self) -> int:
        """How many borders it is made of; each bridge adds its two ends once more."""
        return 1 + (len(self.corners) - len(np.unique(self.corners))) // 2

    @property
    def joined(self) -> bool:
        """True for several borders linked by bridges, whose ends occur twice."""
        return self.parts > 1


def border_loops(faces: IntArray, table: EdgeTable) -> list[Border]:
    """Return the closed loops of open edges, sorted by their lowest vertex.

    Parameters
    ----------
    faces : (m, 3) int64
        Consistently oriented, no vertex on two borders (see `mirrorprep.geometry.splitting`); borders that
        do not close under these conditions are left out.
    table : EdgeTable
        The edges of the faces.

    Examples
    --------
    >>> from mirrorprep.geometry.topology import edge_table
    >>> faces = np.array([[0, 1, 2]])
    >>> [loop.corners.tolist() for loop in border_loops(faces, edge_table(faces))]
    [[0, 2, 1]]
    """
    face, corner = np.nonzero(table.open[table.of_face])
    start, stop, wing = (faces[face, (corner + k) % 3].tolist() for k in range(3))
    following = dict(zip(stop, zip(start, wing, strict=True), strict=True))
    loops: list[Border] = []
    for first in sorted(following):
        corners, wings, here = [first], [], first
        while here in following:
            here, apex = following.pop(here)
            wings.append(apex)
            if here == first:
                break
            corners.append(here)
        if here == first and len(corners) == len(wings) > 2:
            loops.append(
                Border(corners=np.array(corners, dtype=np.int64), wings=np.array(wings, dtype=np.int64))
            )
    return loops

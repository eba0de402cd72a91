"""Taking a mesh apart where more than two triangles, or more than one sheet, share an edge or vertex."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from mirrorprep.geometry.topology import half_edge_groups

_APART: Final = 1e-3
FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class SplitMesh:
    """A mesh whose vertices each have one fan of triangles.

    Attributes
    ----------
    faces : (m, 3) int64
        The same triangles; copies of vertices are numbered from the old count on.
    copy_of : (k,) int64
        The old vertex of each copy.
    edges : int
        Edges of more than two triangles, or of two that run the same way, that were taken apart.
    """

    faces: IntArray
    copy_of: IntArray
    edges: int


def split_fans(vertices: FloatArray, faces: IntArray) -> SplitMesh:
    """Return the mesh with vertices repeated so that every edge has at most two triangles, run opposite ways.

    Around an edge of more than two triangles those are joined that bound the same wedge of material, so
    that bodies that touch along an edge come apart as bodies. No vertex moves.

    Parameters
    ----------
    vertices, faces : (n, 3) float64, (m, 3) int64
        No face may repeat a vertex.

    Returns
    -------
    SplitMesh

    Examples
    --------
    >>> bow_tie = np.array([[0, 1, 2], [0, 3, 4]])
    >>> split_fans(np.zeros((5, 3)), bow_tie).faces.tolist()
    [[0, 1, 2], [5, 3, 4]]
    """
    groups = half_edge_groups(faces)
    one, other = groups.pairs()
    start = faces.ravel()
    fits = start[one] != start[other]
    one, other = one[fits], other[fits]
    crowded = groups.crowded()
    extra = [pair for group in crowded for pair in _wedges(group, vertices, faces)]
    if extra:
        joined = np.array(extra, dtype=np.int64)
        one, other = np.concatenate([one, joined[:, 0]]), np.concatenate([other, joined[:, 1]])
    new_faces, copy_of = _renumbered(faces, one, other, len(vertices))
    return SplitMesh(faces=new_faces, copy_of=copy_of, edges=len(crowded) + int((~fits).sum()))


def part_double_edges(vertices: FloatArray, faces: IntArray) -> tuple[FloatArray, IntArray, IntArray]:
    """Give sheets that still share an edge after `split_fans` a middle vertex each, beyond the first sheet.

    That happens where two sheets touch along an edge and hang together around both its ends. The middle is
    drawn into the sheet by a thousandth of its width, so that the sheets no longer touch there.

    Returns
    -------
    vertices : (n + k, 3) float64
        The old vertices, then the middles.
    faces : (m + 2 k, 3) int64
        Each pair of triangles on such an edge cut in four.
    parent : (m + 2 k,) int64
        The old triangle of each.

    Examples
    --------
    >>> corners = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1], [0, -1, 0], [0, 0, -1]])
    >>> part_double_edges(corners, np.array([[0, 1, 2], [1, 0, 3], [0, 1, 4], [1, 0, 5]]))[1].shape
    (6, 3)
    """
    start, stop = faces.ravel(), faces[:, [1, 2, 0]].ravel()
    crowded = half_edge_groups(faces).crowded()
    pairs = [pair for group in crowded for pair in list(_wedges(group, vertices, faces))[1:]]
    if not pairs:
        return vertices, faces, np.arange(len(faces))
    middles: list[FloatArray] = []
    parts: dict[int, list[list[int]]] = {}
    for pair in pairs:
        low, high = int(start[pair[0]]), int(stop[pair[0]])
        number = len(vertices) + len(middles)
        wings = faces.ravel()[[3 * (h // 3) + (h + 2) % 3 for h in pair]]
        middle = (vertices[low] + vertices[high]) / 2.0
        middles.append(middle + _APART * (vertices[wings].mean(axis=0) - middle))
        for face in (half_edge // 3 for half_edge in pair):
            _cut_at(parts.setdefault(face, [faces[face].tolist()]), (low, high), number)
    cut, more, parent = faces.copy(), [], list(range(len(faces)))
    for face, (first, *others) in parts.items():
        cut[face] = first
        more += others
        parent += [face] * len(others)
    return (
        np.concatenate([vertices, middles]),
        np.concatenate([cut, np.array(more, dtype=np.int64)]),
        np.array(parent, dtype=np.int64),
    )


def _cut_at(parts: list[list[int]], edge: tuple[int, int], middle: int) -> None:
    """Cut the part of a face that holds an edge at a vertex on it."""
    row = next(row for row, corners in enumerate(parts) if set(edge) <= set(corners))
    corners = parts[row]
    parts[row] = [middle if corner == edge[0] else corner for corner in corners]
    parts.append([middle if corner == edge[1] else corner for corner in corners])


def _wedges(half_edges: IntArray, vertices: FloatArray, faces: IntArray) -> Iterator[tuple[int, int]]:
    """Yield the pairs of half-edges around one edge that bound the same wedge of material.

    Seen along the edge, material lies clockwise of a triangle that runs along and anticlockwise of one that
    runs against it; going round, each of the latter is joined with the next one, if that is of the former.
    """
    face, corner = np.divmod(half_edges, 3)
    start, stop = faces[face, corner], faces[face, (corner + 1) % 3]
    low = int(min(start[0], stop[0]))
    axis = vertices[max(start[0], stop[0])] - vertices[low]
    reach = vertices[faces[face, (corner + 2) % 3]] - vertices[low]
    across = reach - np.outer(reach @ axis, axis) / max(float(axis @ axis), 1e-300)
    side = np.cross(axis, across[0])
    angle = np.arctan2(across @ side / max(float(np.linalg.norm(axis)), 1e-300), across @ across[0])
    angle[0] = 0.0
    along = start == low
    ring = np.argsort(np.where(angle < 0.0, angle + 2.0 * np.pi, angle), kind="stable")
    waiting: list[int] = []
    taken: set[int] = set()
    for place in (*ring, *ring):
        if place in taken:
            continue
        if along[place] and waiting:
            mate = waiting.pop()
            taken |= {int(place), mate}
            yield int(half_edges[mate]), int(half_edges[place])
        elif not along[place] and place not in waiting:
            waiting.append(int(place))


def _renumbered(faces: IntArray, one: IntArray, other: IntArray, count: int) -> tuple[IntArray, IntArray]:
    """Give each fan of corners that hang together through joined half-edges its own vertex."""
    ahead = np.where(one % 3 == 2, one - 2, one + 1)
    beyond = np.where(other % 3 == 2, other - 2, other + 1)
    rows, columns = np.concatenate([one, ahead]), np.concatenate([beyond, other])
    links = coo_array((np.ones(len(rows), dtype=np.int8), (rows, columns)), shape=(faces.size,) * 2)
    fan = np.asarray(connected_components(links, directed=False)[1], dtype=np.int64)
    vertex = np.empty(int(fan.max(initial=-1)) + 1, dtype=np.int64)
    vertex[fan] = faces.ravel()
    first_of_vertex = np.full(count, len(vertex), dtype=np.int64)
    np.minimum.at(first_of_vertex, vertex, np.arange(len(vertex)))
    is_copy = first_of_vertex[vertex] != np.arange(len(vertex))
    number = vertex.copy()
    number[is_copy] = count + np.arange(int(is_copy.sum()))
    return number[fan].reshape(-1, 3), vertex[is_copy]

"""Distances and shortest paths along a triangle mesh."""

from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array, csr_array, diags_array
from scipy.sparse.csgraph import dijkstra
from scipy.sparse.linalg import cg, spsolve
from scipy.spatial import KDTree

from mirrorprep.geometry.surface_index import SurfaceIndex
from mirrorprep.geometry.topology import edge_table

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_STEPS_PER_EDGE: Final = 2.0
_ROUNDS: Final = 60
_FEWEST: Final = 6
_LEAST_COTANGENT: Final = 0.02
_SOLVED: Final = 1e-9
_MOST_STEPS: Final = 400


def edge_graph(vertices: FloatArray, faces: IntArray) -> csr_array:
    """Return the symmetric graph (n, n) of the edges with their lengths.

    Examples
    --------
    >>> graph = edge_graph(np.array([[0.0, 0, 0], [3, 0, 0], [0, 4, 0]]), np.array([[0, 1, 2]]))
    >>> graph.toarray().max()
    np.float64(5.0)
    """
    edges = edge_table(faces).edges
    length = np.linalg.norm(vertices[edges[:, 1]] - vertices[edges[:, 0]], axis=1)
    rows, columns = np.concatenate([edges, edges[:, ::-1]]).T
    return coo_array((np.tile(length, 2), (rows, columns)), shape=(len(vertices),) * 2).tocsr()


def travel_graph(vertices: FloatArray, faces: IntArray) -> csr_array:
    """Return `edge_graph` with straight ways across pairs of triangles added.

    Ways along it exceed geodesics by some percent, where ways along edges alone can be a third too long.

    Examples
    --------
    >>> square = np.array([[0.0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]])
    >>> graph = travel_graph(square, np.array([[0, 1, 2], [0, 2, 3]]))
    >>> float(graph[1, 3].round(6))
    1.414214
    """
    table = edge_table(faces)
    inner = np.flatnonzero((table.forward + table.backward) == 2)
    side = np.argsort(table.of_face.ravel(), kind="stable")
    first = np.searchsorted(table.of_face.ravel()[side], inner)
    face, corner = np.divmod(np.stack([side[first], side[first + 1]]), 3)
    a, b = faces[face[0], (corner[0] + 2) % 3], faces[face[1], (corner[1] + 2) % 3]
    start, stop = vertices[table.edges[inner, 0]], vertices[table.edges[inner, 1]]
    length = np.linalg.norm(stop - start, axis=1)
    axis = (stop - start) / np.maximum(length, 1e-300)[:, None]
    along_a, high_a = _unfolded(vertices[a] - start, axis)
    along_b, high_b = _unfolded(vertices[b] - start, axis)
    total = high_a + high_b
    crossing = along_a + (along_b - along_a) * high_a / np.maximum(total, 1e-300)
    straight = (total > 0.0) & (crossing > 0.0) & (crossing < length) & (a != b)
    across = np.hypot(along_a - along_b, total)[straight]
    rows, columns = np.concatenate([[a, b], [b, a]], axis=1)[:, np.tile(straight, 2)]
    extra = coo_array((np.tile(across, 2), (rows, columns)), shape=(len(vertices),) * 2).tocsr()
    edges = edge_graph(vertices, faces)
    return edges + extra - extra.multiply(edges > 0.0)


def _unfolded(arm: FloatArray, axis: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return how far arms reach along unit axes, and away from them."""
    along = np.einsum("ij,ij->i", arm, axis)
    return along, np.linalg.norm(arm - along[:, None] * axis, axis=1)


def distance_along(graph: csr_array, sources: IntArray, *, limit_mm: float = np.inf) -> FloatArray:
    """Return the length of the shortest way in a graph from any of the sources, inf beyond the limit.

    Examples
    --------
    >>> graph = edge_graph(np.array([[0.0, 0, 0], [3, 0, 0], [0, 4, 0]]), np.array([[0, 1, 2]]))
    >>> distance_along(graph, np.array([1])).tolist()
    [3.0, 0.0, 5.0]
    """
    if len(sources) == 0:
        return np.full(graph.shape[0], np.inf)
    return np.asarray(dijkstra(graph, indices=sources, limit=limit_mm, min_only=True))


def geodesic_path(
    vertices: FloatArray, faces: IntArray, stops: FloatArray, *, index: SurfaceIndex
) -> FloatArray:
    """Return points along the shortest ways over the surface from each stop to the next.

    Parameters
    ----------
    vertices, faces : (n, 3) float64, (m, 3) int64
        The mesh.
    stops : (k, 3) float64
        At least two places on or near the surface; the path runs through their closest points.
    index : SurfaceIndex
        The same mesh, prepared.

    Returns
    -------
    (j, 3) float64
        Points on the surface, about half an edge apart; empty when no way joins two stops.

    Notes
    -----
    The shortest way along edges, then curve shortening: every point again and again to the surface point
    closest to the middle of its neighbours, first few points and then more. It ends at the locally shortest
    curve near the first guess, which is what a hand draws between two marks.

    Examples
    --------
    >>> square = np.array([[0.0, 0, 0], [4, 0, 0], [4, 4, 0], [0, 4, 0]])
    >>> halves = np.array([[0, 1, 2], [0, 2, 3]])
    >>> path = geodesic_path(square, halves, square[[1, 3]], index=SurfaceIndex(square, halves))
    >>> length = np.linalg.norm(np.diff(path, axis=0), axis=1).sum()
    >>> bool(abs(length - np.sqrt(32)) < 1e-6)
    True
    """
    ends = index.closest(stops).points
    graph = edge_graph(vertices, faces)
    used = np.unique(faces)
    nearest = used[KDTree(vertices[used]).query(ends)[1]]
    pieces = []
    for number, (first, last) in enumerate(pairwise(nearest.tolist())):
        way = _way_along_edges(graph, first, last, vertices)
        if len(way) == 0:
            return np.zeros((0, 3))
        pieces.append(
            np.concatenate([ends[number : number + 1], vertices[way], ends[number + 1 : number + 2]])
        )
    return _shortened(pieces, float(np.median(graph.data)) / _STEPS_PER_EDGE, index)


def _way_along_edges(graph: csr_array, first: int, last: int, vertices: FloatArray) -> list[int]:
    """Return the vertices of the shortest way along edges, none when there is no way."""
    apart = float(np.linalg.norm(vertices[last] - vertices[first]))
    for limit in (2.0 * apart + 4.0 * float(graph.data.max()), np.inf):
        _, before = dijkstra(graph, indices=first, return_predecessors=True, limit=limit)
        way = [last]
        while way[-1] != first and before[way[-1]] >= 0:
            way.append(int(before[way[-1]]))
        if way[-1] == first:
            return way[::-1]
    return []


def _shortened(pieces: list[FloatArray], step: float, index: SurfaceIndex) -> FloatArray:
    """Return the joined pieces, each shortened between its ends, all at once."""
    counts = [int(max(np.ceil(_length(piece) / step), 2)) for piece in pieces]
    for level in range(int(np.ceil(np.log2(max(max(counts) / _FEWEST, 1.0)))), -1, -1):
        fine = [_evenly(piece, max(count >> level, 2)) for piece, count in zip(pieces, counts, strict=True)]
        path = np.concatenate(fine)
        stops = np.cumsum([len(piece) for piece in fine])
        free = np.ones(len(path), dtype=bool)
        free[stops - 1] = free[np.concatenate([[0], stops[:-1]])] = False
        inner = np.flatnonzero(free)
        for _ in range(_ROUNDS):
            path[inner] = index.closest((path[inner - 1] + path[inner + 1]) / 2.0).points
        pieces = np.split(path, stops[:-1])
    return np.concatenate([*(piece[:-1] for piece in pieces), pieces[-1][-1:]])


def _length(path: FloatArray) -> float:
    return float(np.linalg.norm(np.diff(path, axis=0), axis=1).sum())


def _evenly(path: FloatArray, pieces: int) -> FloatArray:
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1))])
    wanted = np.linspace(0.0, along[-1], pieces + 1)
    return np.stack([np.interp(wanted, along, path[:, axis]) for axis in range(3)], axis=1)


def smoothed(vertices: FloatArray, faces: IntArray, values: FloatArray, *, radius_mm: float) -> FloatArray:
    """Return values per vertex spread over about a radius along the surface.

    Parameters
    ----------
    vertices, faces : (n, 3) float64, (m, 3) int64
        The mesh.
    values : (n,) float64
        Finite values.
    radius_mm : float
        Distance over which a point's value has spread by one standard deviation.

    Notes
    -----
    One implicit step of the heat equation with lumped masses and cotangent weights, which are kept
    positive so that no value leaves the range it had: M. Desbrun et al., "Implicit fairing of irregular
    meshes using diffusion and curvature flow", SIGGRAPH 1999, 317-324.

    Examples
    --------
    >>> square = np.array([[0.0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]])
    >>> halves = np.array([[0, 1, 2], [0, 2, 3]])
    >>> smoothed(square, halves, np.array([0.0, 1, 0, 1]), radius_mm=9.0).round(1).tolist()
    [0.3, 0.3, 0.3, 0.3]
    """
    corner = vertices[faces]
    mass = np.zeros(len(vertices))
    rows, columns, weights = [], [], []
    for k in range(3):
        ahead, back = corner[:, (k + 1) % 3] - corner[:, k], corner[:, k - 1] - corner[:, k]
        doubled = np.linalg.norm(np.cross(ahead, back), axis=1)
        dots = np.einsum("ij,ij->i", ahead, back)
        weight = dots / np.maximum(doubled, 1e-12 * np.abs(dots) + 1e-300)
        mass += np.bincount(faces[:, k], doubled / 6.0, len(vertices))
        rows.append(faces[:, (k + 1) % 3])
        columns.append(faces[:, k - 1])
        weights.append(np.clip(weight, _LEAST_COTANGENT, 1.0 / _LEAST_COTANGENT) / 2.0)
    row, column, weight = np.concatenate(rows), np.concatenate(columns), np.concatenate(weights)
    link = coo_array((weight, (row, column)), shape=(len(vertices),) * 2).tocsr()
    link = link + link.T
    mass = np.maximum(mass, 1e-12)
    matrix = diags_array(mass) + radius_mm**2 / 2.0 * (diags_array(np.asarray(link.sum(axis=1))) - link)
    diagonal = matrix.diagonal()
    scaled = diags_array(1.0 / diagonal)
    answer, failed = cg(matrix.tocsr(), mass * values, x0=values, rtol=_SOLVED, M=scaled, maxiter=_MOST_STEPS)
    return np.asarray(spsolve(matrix.tocsc(), mass * values) if failed else answer)

"""Exact closest points on a triangle mesh, by a tree over pieces of the triangles."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import KDTree

from mirrorprep.geometry.closest_point import closest_on_triangles

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

PIECES_PER_FACE = 2
LEAST_PIECES = 50_000
FIRST_LOOK = 6
BLOCK = 50_000


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Closest:
    """Closest points on a mesh.

    Attributes
    ----------
    points : (n, 3) float64
        Closest points; nan where nothing lies within reach.
    face : (n,) int64
        Face of each, −1 where nothing lies within reach.
    distance_mm : (n,) float64
        Distances, infinite where nothing lies within reach.
    """

    points: FloatArray
    face: IntArray
    distance_mm: FloatArray


class SurfaceIndex:
    """A mesh prepared for closest-point queries.

    Parameters
    ----------
    vertices : (n, 3) float64
        Positions.
    faces : (m, 3) int64
        At least one.

    Notes
    -----
    Triangles are divided into similar pieces of about equal size; a tree over the pieces' centroids gives
    the first candidates. A result is final when the next piece cannot come closer than its centroid's
    distance less the largest piece's radius; the few others are looked up again within that radius.

    Examples
    --------
    >>> index = SurfaceIndex(np.eye(3), np.array([[0, 1, 2]]))
    >>> index.closest(np.array([[1.0, 1.0, 1.0]])).points.round(6).tolist()
    [[0.333333, 0.333333, 0.333333]]
    """

    def __init__(self, vertices: FloatArray, faces: IntArray) -> None:
        self._triangles = vertices[faces]
        self._owner, centroids, self._radius = _pieces(self._triangles)
        self._tree = KDTree(centroids, balanced_tree=False)

    def closest(self, points: FloatArray, *, reach_mm: float = np.inf) -> Closest:
        """Return the closest points on the mesh to (n, 3) points, as far as they lie within reach."""
        blocks = [self._block(points[i : i + BLOCK], reach_mm) for i in range(0, len(points), BLOCK)]
        foot, face, distance = (
            (np.concatenate(part) for part in zip(*blocks, strict=True)) if blocks else _NONE
        )
        beyond = distance > reach_mm
        return Closest(
            points=np.where(beyond[:, None], np.nan, foot),
            face=np.where(beyond, -1, face),
            distance_mm=np.where(beyond, np.inf, distance),
        )

    def _block(self, points: FloatArray, reach: float) -> tuple[FloatArray, IntArray, FloatArray]:
        look = min(FIRST_LOOK, len(self._owner))
        far, piece = self._tree.query(
            points, k=np.arange(1, look + 1), distance_upper_bound=reach + self._radius, workers=-1
        )
        inside = piece < len(self._owner)
        face = self._owner[np.where(inside, piece, 0)]
        foot = closest_on_triangles(points[:, None], self._triangles[face])
        distance = np.sqrt(((points[:, None] - foot) ** 2).sum(axis=-1))
        distance[~inside] = np.inf
        rows = np.arange(len(points))
        best = distance.argmin(axis=1)
        result = foot[rows, best], face[rows, best], distance[rows, best]
        bound = np.minimum(result[2], reach)
        open_ = np.flatnonzero((far[:, -1] - self._radius < bound) & (look < len(self._owner)))
        for row in open_.tolist():
            self._look_again(points[row], bound[row], result, row)
        return result

    def _look_again(
        self, point: FloatArray, bound: float, result: tuple[FloatArray, IntArray, FloatArray], row: int
    ) -> None:
        near = self._tree.query_ball_point(point, bound + self._radius, return_sorted=True)
        if not near:
            return
        face = np.unique(self._owner[near])
        foot = closest_on_triangles(np.broadcast_to(point, (len(face), 3)), self._triangles[face])
        distance = np.sqrt(((point - foot) ** 2).sum(axis=1))
        best = int(distance.argmin())
        if distance[best] < result[2][row]:
            result[0][row], result[1][row], result[2][row] = foot[best], face[best], distance[best]


_NONE = np.zeros((0, 3)), np.zeros(0, dtype=np.int64), np.zeros(0)


def _pieces(triangles: FloatArray) -> tuple[IntArray, FloatArray, float]:
    edges = triangles - np.roll(triangles, 1, axis=1)
    longest = np.sqrt(np.einsum("mki,mki->mk", edges, edges).max(axis=1))
    budget = max(PIECES_PER_FACE * len(triangles), LEAST_PIECES)
    size = float(longest.max()) or 1.0
    while size > 0.0:
        parts = np.maximum(np.ceil(longest / (size / 1.25)), 1.0).astype(np.int64)
        if (parts * parts).sum() > budget:
            break
        size /= 1.25
    parts = np.maximum(np.ceil(longest / size), 1.0).astype(np.int64)
    owners, centroids = [], []
    for count in np.unique(parts):
        owner = np.flatnonzero(parts == count)
        weights = _lattice(int(count))
        owners.append(np.repeat(owner, len(weights)))
        centroids.append(np.einsum("wk,mki->mwi", weights, triangles[owner]).reshape(-1, 3))
    radius = float((longest / parts).max()) * 2.0 / 3.0
    return np.concatenate(owners), np.concatenate(centroids), radius


def _lattice(count: int) -> FloatArray:
    """Return barycentric centroids of the count² similar pieces of a triangle."""
    i, j = (index.ravel() for index in np.meshgrid(np.arange(count), np.arange(count), indexing="ij"))
    upright, turned = i + j <= count - 1, i + j <= count - 2
    up = np.stack([i[upright], j[upright]], axis=1) + 1.0 / 3.0
    down = np.stack([i[turned], j[turned]], axis=1) + 2.0 / 3.0
    first = np.concatenate([up, down]) / count
    return np.column_stack([first, 1.0 - first.sum(axis=1)])

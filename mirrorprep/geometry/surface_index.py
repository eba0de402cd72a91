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
MOST_CLASSES = 6
FIRST_LOOKS = (1, 6, 24)
BLOCK = 50_000
MOST_CANDIDATES = 4_000_000


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
    Triangles are divided into similar pieces, and pieces that differ by less than twice in size share a tree
    over their centroids. The candidates are looked up in growing numbers; a result is final when in every
    tree the next piece cannot come closer than its centroid's distance less the radius of the tree's largest
    piece.

    Examples
    --------
    >>> index = SurfaceIndex(np.eye(3), np.array([[0, 1, 2]]))
    >>> index.closest(np.array([[1.0, 1.0, 1.0]])).points.round(6).tolist()
    [[0.333333, 0.333333, 0.333333]]
    """

    def __init__(self, vertices: FloatArray, faces: IntArray) -> None:
        self._triangles = vertices[faces]
        owner, centroids, radius = _pieces(self._triangles)
        size_class = _size_classes(radius)
        self._classes = [
            _SizeClass(owner[members], centroids[members], radius[members])
            for members in (np.flatnonzero(size_class == number) for number in np.unique(size_class))
        ]
        self._classes.sort(key=lambda one: -len(one.owner))

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
        best = _Best(points, reach)
        for one in self._classes:
            open_, looked, look = np.arange(len(points)), 0, FIRST_LOOKS[0]
            while len(open_):
                look = min(look, len(one.owner))
                step = max(MOST_CANDIDATES // look, 1)
                left = [
                    self._look(one, best, open_[i : i + step], (looked, look))
                    for i in range(0, len(open_), step)
                ]
                open_, looked = np.concatenate(left), look
                look = next((k for k in FIRST_LOOKS if k > looked), 4 * looked)
        return best.foot, best.face, best.distance

    def _look(self, one: "_SizeClass", best: "_Best", rows: IntArray, span: tuple[int, int]) -> IntArray:
        """Weigh the pieces from the first to the second rank by distance; return the rows still open."""
        look = span[1]
        bound = best.bound[rows]
        far, piece = one.tree.query(
            best.points[rows],
            k=np.arange(1, look + 1),
            distance_upper_bound=float(bound.max()) + one.largest,
            workers=-1,
        )
        radius = np.append(one.radius, 0.0)[piece[:, span[0] :]]
        row, rank = np.nonzero(far[:, span[0] :] - radius < bound[:, None])
        face = one.owner[piece[row, rank + span[0]]]
        best.weigh(rows[row], face, self._triangles)
        undecided = (far[:, -1] - one.largest < best.bound[rows]) & (look < len(one.owner))
        return np.asarray(rows[undecided])


class _SizeClass:
    """Pieces of about equal size with a tree over their centroids."""

    def __init__(self, owner: IntArray, centroids: FloatArray, radius: FloatArray) -> None:
        self.owner, self.radius = owner, radius
        self.largest = float(radius.max())
        self.tree = KDTree(centroids, balanced_tree=False)


class _Best:
    """The closest points found so far."""

    def __init__(self, points: FloatArray, reach: float) -> None:
        self.points, self._reach = points, reach
        self.foot = np.full(points.shape, np.nan)
        self.face = np.full(len(points), -1, dtype=np.int64)
        self.distance = np.full(len(points), np.inf)

    @property
    def bound(self) -> FloatArray:
        """Distance beyond which nothing is sought any more, for each point."""
        return np.asarray(np.minimum(self.distance, self._reach))

    def weigh(self, row: IntArray, face: IntArray, triangles: FloatArray) -> None:
        """Take the nearest of the faces paired with rows, where it is nearer."""
        foot = closest_on_triangles(self.points[row], triangles[face])
        distance = np.sqrt(((self.points[row] - foot) ** 2).sum(axis=1))
        order = np.lexsort((face, distance, row))
        first = order[np.unique(row[order], return_index=True)[1]]
        first = first[distance[first] < self.distance[row[first]]]
        self.foot[row[first]], self.face[row[first]] = foot[first], face[first]
        self.distance[row[first]] = distance[first]


def _size_classes(radius: FloatArray) -> IntArray:
    """Return how often each piece's radius halves the largest one."""
    halvings = np.floor(np.log2(radius.max() / np.maximum(radius, 1e-300)))
    return np.asarray(np.minimum(halvings, MOST_CLASSES - 1), dtype=np.int64)


_NONE = np.zeros((0, 3)), np.zeros(0, dtype=np.int64), np.zeros(0)


def _pieces(triangles: FloatArray) -> tuple[IntArray, FloatArray, FloatArray]:
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
    owners, centroids, radii = [], [], []
    for count in np.unique(parts):
        owner = np.flatnonzero(parts == count)
        weights = _lattice(int(count))
        owners.append(np.repeat(owner, len(weights)))
        radii.append(np.repeat(longest[owner] * (2.0 / 3.0 / count), len(weights)))
        centroids.append(np.einsum("wk,mki->mwi", weights, triangles[owner]).reshape(-1, 3))
    return np.concatenate(owners), np.concatenate(centroids), np.concatenate(radii)


def _lattice(count: int) -> FloatArray:
    """Return barycentric centroids of the count² similar pieces of a triangle."""
    i, j = (index.ravel() for index in np.meshgrid(np.arange(count), np.arange(count), indexing="ij"))
    upright, turned = i + j <= count - 1, i + j <= count - 2
    up = np.stack([i[upright], j[upright]], axis=1) + 1.0 / 3.0
    down = np.stack([i[turned], j[turned]], axis=1) + 2.0 / 3.0
    first = np.concatenate([up, down]) / count
    return np.column_stack([first, 1.0 - first.sum(axis=1)])

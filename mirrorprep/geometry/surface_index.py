"""Exact closest points on a triangle mesh, by a tree over pieces of the triangles."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import KDTree

from mirrorprep.geometry.closest_point import closest_on_triangles
from mirrorprep.geometry.normals import doubled_areas, unit

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

LEAST_PIECES = 50_000
MOST_CLASSES = 12
FIRST_LOOK = 8
ALIKE = 4.0
SLIVER = 1e-6
SLACK = 1e-9
BLOCK = 50_000
MOST_CANDIDATES = 1_000_000


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
    Triangles are divided into similar pieces, and pieces that differ by less than √2 in size share a tree
    over their centroids. The nearest piece gives a first bound. The candidates are then looked up in growing
    numbers; a result is final when in every tree the next piece cannot come closer than its centroid's
    distance less the radius of the tree's largest piece. A candidate is weighed only if the disc about it in
    its plane comes closer than the best so far.

    Examples
    --------
    >>> index = SurfaceIndex(np.eye(3), np.array([[0, 1, 2]]))
    >>> index.closest(np.array([[1.0, 1.0, 1.0]])).points.round(6).tolist()
    [[0.333333, 0.333333, 0.333333]]
    """

    def __init__(self, vertices: FloatArray, faces: IntArray) -> None:
        self._triangles = vertices[faces]
        owner, centroids, radius = _pieces(self._triangles)
        normals = _sure_normals(vertices, faces)[owner]
        size_class = _size_classes(radius)
        self._classes = [
            _SizeClass(owner[members], centroids[members], normals[members], radius[members])
            for members in (np.flatnonzero(size_class == number) for number in np.unique(size_class))
        ]
        self._owner, self._tree = owner, KDTree(centroids, balanced_tree=False)
        self._reach = float(radius.max())

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
        best = _Best(points, self._triangles, reach)
        piece = self._tree.query(points, distance_upper_bound=reach + self._reach, workers=-1)[1]
        met = np.flatnonzero(piece < len(self._owner))
        best.weigh(met, self._owner[piece[met]])
        for one in self._classes:
            for rows in _alike(best.bound, one.largest):
                open_, looked, look = rows, 0, FIRST_LOOK
                while len(open_):
                    look = min(look, len(one.owner))
                    step = max(MOST_CANDIDATES // look, 1)
                    parts = [open_[i : i + step] for i in range(0, len(open_), step)]
                    open_ = np.concatenate([one.look(best, part, looked, look) for part in parts])
                    looked, look = look, 4 * look
        return best.foot, best.face, best.distance


class _SizeClass:
    """Pieces of about equal size with a tree over their centroids."""

    def __init__(
        self, owner: IntArray, centroids: FloatArray, normals: FloatArray, radius: FloatArray
    ) -> None:
        self.owner, self.centroids, self.normals, self.radius = owner, centroids, normals, radius
        self.largest = float(radius.max())
        self.tree = KDTree(centroids, balanced_tree=False)

    def look(self, best: "_Best", rows: IntArray, looked: int, look: int) -> IntArray:
        """Weigh the pieces after rank `looked` to rank `look` by distance; return the rows still open."""
        bound = best.bound[rows]
        far, piece = self.tree.query(
            best.points[rows],
            k=np.arange(1, look + 1),
            distance_upper_bound=float(bound.max()) + self.largest,
            workers=-1,
        )
        row, rank = np.nonzero(far[:, looked:] < (bound + self.largest)[:, None])
        piece, near = piece[row, rank + looked], far[row, rank + looked]
        hopeful = self._least(best.points[rows[row]], piece, near) < bound[row]
        best.weigh(rows[row[hopeful]], self.owner[piece[hopeful]])
        undecided = (far[:, -1] - self.largest < best.bound[rows]) & (look < len(self.owner))
        return np.asarray(rows[undecided])

    def _least(self, points: FloatArray, piece: IntArray, near: FloatArray) -> FloatArray:
        """Return what points lie from the discs about pieces at least, given their centroids' distances."""
        height = np.einsum("ij,ij->i", points - self.centroids[piece], self.normals[piece])
        along, radius = np.sqrt(np.maximum(near**2 - height**2, 0.0)), self.radius[piece]
        return np.asarray(np.hypot(height, np.maximum(along - radius, 0.0)) - SLACK * radius)


def _sure_normals(vertices: FloatArray, faces: IntArray) -> FloatArray:
    """Return unit normals of faces, zero for slivers, whose normals are rounding errors."""
    cross = doubled_areas(vertices, faces)
    edges = vertices[faces[:, 1:]] - vertices[faces[:, :1]]
    area, square = np.sqrt(np.einsum("ij,ij->i", cross, cross)), np.einsum("mki,mki->mk", edges, edges)
    sure = area > SLIVER * square.max(axis=1)
    return np.asarray(unit(cross) * sure[:, None])


def _alike(bound: FloatArray, size: float) -> list[IntArray]:
    """Return the rows in groups whose bounds, as seen from pieces of a size, differ little."""
    group = np.floor(np.log(np.maximum(bound, max(size, 1e-300))) / np.log(ALIKE))
    return [np.flatnonzero(group == number) for number in np.unique(group)]


class _Best:
    """The closest points found so far."""

    def __init__(self, points: FloatArray, triangles: FloatArray, reach: float) -> None:
        self.points, self._triangles, self._reach = points, triangles, reach
        self.foot = np.full(points.shape, np.nan)
        self.face = np.full(len(points), -1, dtype=np.int64)
        self.distance = np.full(len(points), np.inf)

    @property
    def bound(self) -> FloatArray:
        """Distance beyond which nothing is sought any more, for each point."""
        return np.asarray(np.minimum(self.distance, self._reach))

    def weigh(self, row: IntArray, face: IntArray) -> None:
        """Take the nearest of the faces paired with rows (in ascending order), where it is nearer."""
        if len(row) == 0:
            return
        foot = closest_on_triangles(self.points[row], self._triangles[face])
        away = self.points[row] - foot
        distance = np.sqrt(np.einsum("ij,ij->i", away, away))
        start = np.flatnonzero(np.append(True, row[1:] != row[:-1]))
        count = np.diff(np.append(start, len(row)))
        nearest = np.flatnonzero(distance == np.repeat(np.minimum.reduceat(distance, start), count))
        nearest = nearest[np.lexsort((face[nearest], row[nearest]))]
        first = nearest[np.unique(row[nearest], return_index=True)[1]]
        first = first[distance[first] < self.distance[row[first]]]
        self.foot[row[first]], self.face[row[first]] = foot[first], face[first]
        self.distance[row[first]] = distance[first]


def _size_classes(radius: FloatArray) -> IntArray:
    """Return how often √2 divides the largest radius before it falls below each piece's."""
    steps = np.floor(2.0 * np.log2(radius.max() / np.maximum(radius, 1e-300)))
    return np.asarray(np.minimum(steps, MOST_CLASSES - 1), dtype=np.int64)


_NONE = np.zeros((0, 3)), np.zeros(0, dtype=np.int64), np.zeros(0)


def _pieces(triangles: FloatArray) -> tuple[IntArray, FloatArray, FloatArray]:
    edges = triangles - np.roll(triangles, 1, axis=1)
    longest = np.sqrt(np.einsum("mki,mki->mk", edges, edges).max(axis=1))
    budget = max(len(triangles), LEAST_PIECES)
    size = float(longest.max()) or 1.0
    while size > 0.0:
        parts = np.maximum(np.ceil(longest / (size / 1.25)), 1.0).astype(np.int64)
        if (parts * parts).sum() > budget:
            break
        size /= 1.25
    parts = np.maximum(np.ceil(longest / size), 1.0).astype(np.int64)
    arms = triangles - triangles.mean(axis=1, keepdims=True)
    reach = np.sqrt(np.einsum("mki,mki->mk", arms, arms).max(axis=1))
    owners, centroids, radii = [], [], []
    for count in np.unique(parts):
        owner = np.flatnonzero(parts == count)
        weights = _lattice(int(count))
        owners.append(np.repeat(owner, len(weights)))
        radii.append(np.repeat(reach[owner] / count, len(weights)))
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

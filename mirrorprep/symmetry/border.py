"""Open borders of a scan: where they really end the surface, and what lies beyond them."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import KDTree

from mirrorprep.geometry.normals import unit
from mirrorprep.geometry.open_border import open_edges, position_hash

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

STEP = 0.005
MOST = 30_000
PROBE = 0.012
ONWARD = 0.3
AVERAGED = 8
BACKWARD = -0.2
OPENING_REACH = 1.0


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Border:
    """Places along the open edges, in units of the diagonal.

    Attributes
    ----------
    points, outward : (b, 3) float64
        Places, and unit directions in the surface off its edge.
    opening : (b,) float64
        Extent of the connected open edges that each place belongs to.
    tree : KDTree or None
        Over the points; None without a border.
    """

    points: FloatArray
    outward: FloatArray
    opening: FloatArray
    tree: KDTree | None

    def distance(self, points: FloatArray, *, reach: float) -> tuple[FloatArray, IntArray]:
        """Return how far (n, 3) points lie from the border (infinite beyond reach), and its nearest place."""
        if self.tree is None:
            return np.full(len(points), np.inf), np.zeros(len(points), dtype=np.int64)
        distance, index = self.tree.query(points, distance_upper_bound=reach, workers=-1)
        return np.asarray(distance), np.minimum(index, len(self.points) - 1)

    def beyond(self, places: FloatArray, nearest: IntArray) -> BoolArray:
        """Return which (n, 3) places lie off the edge that is nearest to them, within its opening."""
        if self.tree is None:
            return np.zeros(len(places), dtype=bool)
        away = places - self.points[nearest]
        distance = np.sqrt(np.einsum("ni,ni->n", away, away))
        onward = np.einsum("ni,ni->n", away, self.outward[nearest]) >= BACKWARD * distance
        return np.asarray(onward & (distance <= OPENING_REACH * self.opening[nearest]))


NONE = Border(points=np.zeros((0, 3)), outward=np.zeros((0, 3)), opening=np.zeros(0), tree=None)


def find_border(
    vertices: FloatArray, faces: IntArray, *, center: FloatArray, scale: float, samples: KDTree
) -> Border:
    """Return the open border of a mesh without seams, where the surface goes on across the edge.

    Parameters
    ----------
    vertices, faces : (n, 3) float64, (m, 3) int64
        The mesh.
    center, scale : (3,) float64, float
        Origin and unit of the cloud.
    samples : KDTree
        Over the samples of the surface in the cloud's units.
    """
    edges = open_edges(vertices, faces)
    if len(edges) == 0:
        return NONE
    edges = edges[:: 1 + len(edges) // MOST]
    corner = [faces[edges[:, 0], (edges[:, 1] + step) % 3] for step in range(3)]
    start, stop, third = ((vertices[index] - center) / scale for index in corner)
    along = unit(stop - start)
    inward = third - start
    outward = unit(np.einsum("ei,ei->e", inward, along)[:, None] * along - inward)
    opening = _extents(position_hash(vertices[corner[0]]), position_hash(vertices[corner[1]]), start)
    length = np.sqrt(np.einsum("ei,ei->e", stop - start, stop - start))
    count = np.ceil(length / max(STEP, float(length.sum()) / MOST)).astype(np.int64)
    count = np.maximum(count, 1)
    edge = np.repeat(np.arange(len(edges)), count)
    rung = np.arange(len(edge)) - np.repeat(np.cumsum(count) - count, count)
    share = ((rung + 0.5) / count[edge])[:, None]
    points = start[edge] * (1.0 - share) + stop[edge] * share
    real = ~_continued(points, outward[edge], samples)
    if not real.any():
        return NONE
    points, outward, opening = points[real], outward[edge][real], opening[edge][real]
    tree = KDTree(points)
    near = np.asarray(tree.query(points, k=np.arange(1, min(AVERAGED, len(points)) + 1), workers=-1)[1])
    return Border(points=points, outward=unit(outward[near].mean(axis=1)), opening=opening, tree=tree)


def _extents(start: NDArray[np.uint64], stop: NDArray[np.uint64], places: FloatArray) -> FloatArray:
    """Return the diagonal of the box around the connected edges that each edge belongs to."""
    _, index = np.unique(np.concatenate([start, stop]), return_inverse=True)
    first, second = index[: len(start)], index[len(start) :]
    size = int(index.max()) + 1
    graph = coo_array((np.ones(len(first), dtype=np.int8), (first, second)), shape=(size, size))
    label = connected_components(graph, directed=False)[1][first]
    low, high = np.full((label.max() + 1, 3), np.inf), np.full((label.max() + 1, 3), -np.inf)
    np.minimum.at(low, label, places)
    np.maximum.at(high, label, places)
    return np.asarray(np.sqrt(((high - low) ** 2).sum(axis=1))[label])


def _continued(points: FloatArray, outward: FloatArray, samples: KDTree) -> BoolArray:
    """Return where the surface goes on across the edge: seams, cracks, loose triangles."""
    distance, index = samples.query(points + PROBE * outward, distance_upper_bound=PROBE, workers=-1)
    found = np.isfinite(distance)
    onward = np.zeros(len(points))
    step = np.asarray(samples.data)[index[found]] - points[found]
    onward[found] = np.einsum("ni,ni->n", step, outward[found])
    return np.asarray(onward > ONWARD * PROBE)

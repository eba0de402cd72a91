"""Vertex clustering: a closed copy of a closed mesh with far fewer triangles, in one pass."""

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_TOWARDS_MEAN = 1e-2


def clustered(vertices: FloatArray, faces: IntArray, *, cells: int) -> tuple[FloatArray, IntArray]:
    """Return a mesh whose vertices stand for all vertices of a cell that face the same octant.

    Parameters
    ----------
    vertices : (n, 3) float64
        Positions.
    faces : (m, 3) int64
        Triangles.
    cells : int
        Cells along the longest side of the box around the mesh.

    Returns
    -------
    vertices : (k, 3) float64
        For each cluster the point of least squared distance, by area, from the planes of its triangles,
        drawn weakly towards the mean of its vertices and kept within a cell's size of it.
    faces : (j, 3) int64
        The triangles that keep three different corners.

    Notes
    -----
    Mapping vertices onto others and leaving out collapsed triangles keeps a closed surface closed: it is
    crossed inwards as often as outwards along every line. It need not stay a manifold, and may cross itself.
    Clusters by position alone weld the two sides of a thin wall; sorted by the octant of the vertex normal
    too, they stay apart. Vertex clustering after Rossignac and Borrel, "Multi-resolution 3D approximations
    for rendering complex scenes" (1993); the position after Lindstrom, "Out-of-core simplification of large
    polygonal models" (SIGGRAPH 2000).

    Examples
    --------
    >>> corner = np.vstack([np.zeros(3), np.diag([4.0, 4.0, 4.0])])
    >>> faces = np.array([[0, 2, 1], [0, 3, 2], [0, 1, 3], [1, 2, 3]])
    >>> clustered(corner, faces, cells=8)[1].shape
    (4, 3)
    """
    corner = faces.T.ravel()
    normal = _area_normals(vertices, faces)
    cluster, count = _cluster_of(vertices, corner, normal, cells)
    of_corner = cluster[corner]
    placed = _placed(vertices, faces, normal, (cluster, of_corner, count), _cell_size(vertices, cells))
    a, b, c = of_corner.reshape(3, -1)
    kept = (a != b) & (b != c) & (c != a)
    return placed, np.column_stack([a[kept], b[kept], c[kept]])


def _cell_size(vertices: FloatArray, cells: int) -> float:
    return max(float(np.ptp(vertices, axis=0).max()) / cells, 1e-300)


def _area_normals(vertices: FloatArray, faces: IntArray) -> FloatArray:
    """Return normals of twice the area's length, shape (3, m)."""
    x, y, z = (vertices[:, k][faces.T] for k in range(3))
    x1, y1, z1 = x[1] - x[0], y[1] - y[0], z[1] - z[0]
    x2, y2, z2 = x[2] - x[0], y[2] - y[0], z[2] - z[0]
    return np.stack([y1 * z2 - z1 * y2, z1 * x2 - x1 * z2, x1 * y2 - y1 * x2])


def _cluster_of(
    vertices: FloatArray, corner: IntArray, normal: FloatArray, cells: int
) -> tuple[IntArray, int]:
    """Return the cluster of each vertex, numbered without gaps, and their number."""
    place = ((vertices - vertices.min(axis=0)) / _cell_size(vertices, cells)).astype(np.int64)
    key = (place[:, 0] * (cells + 1) + place[:, 1]) * (cells + 1) + place[:, 2]
    for axis in normal:
        towards = np.bincount(corner, weights=np.tile(axis, 3), minlength=len(vertices))
        key = 2 * key + (towards > 0.0)
    found, cluster = np.unique(key, return_inverse=True)
    return cluster.astype(np.int64), len(found)


def _placed(
    vertices: FloatArray,
    faces: IntArray,
    normal: FloatArray,
    clusters: tuple[IntArray, IntArray, int],
    size: float,
) -> FloatArray:
    """Return each cluster's point nearest to the planes of its triangles."""
    cluster, of_corner, count = clusters
    members = np.bincount(cluster, minlength=count)
    total = np.stack([np.bincount(cluster, weights=axis, minlength=count) for axis in vertices.T], 1)
    mean = total.astype(np.float64) / members[:, None]
    length = np.maximum(np.sqrt((normal**2).sum(axis=0)), 1e-300)
    unit = normal / length
    height = (unit * vertices[faces[:, 0]].T).sum(axis=0)
    square, right = np.empty((count, 3, 3)), np.empty((count, 3))

    def summed(weight: FloatArray) -> FloatArray:
        return np.bincount(of_corner, weights=np.tile(weight, 3), minlength=count).astype(np.float64)

    for i in range(3):
        right[:, i] = summed(normal[i] * height)
        for j in range(i, 3):
            square[:, i, j] = square[:, j, i] = summed(normal[i] * unit[j])
    pull = _TOWARDS_MEAN * np.trace(square, axis1=1, axis2=2) + 1e-12 * size**2
    square += pull[:, None, None] * np.eye(3)
    offset = np.linalg.solve(square, (right + pull[:, None] * mean)[..., None])[..., 0] - mean
    reach = np.maximum(np.linalg.norm(offset, axis=1), 1e-300)
    return np.asarray(mean + offset * np.minimum(1.0, size / reach)[:, None])

"""Signed distances from a triangle mesh."""

from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import KDTree

from mirrorprep.geometry.normals import doubled_areas, unit
from mirrorprep.geometry.surface_index import SurfaceIndex
from mirrorprep.geometry.topology import edge_table

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

_ON_EDGE: Final = 1e-9
_PARTS: Final = ("distance_mm", "points", "normals", "on_border")


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Foot:
    """Where points meet a surface.

    Attributes
    ----------
    distance_mm : (n,) float64
        Positive outside; infinite beyond reach.
    points : (n, 3) float64
        Closest points on the surface; nan beyond reach.
    normals : (n, 3) float64
        Unit normals there, the vertices' normals interpolated; zero beyond reach.
    on_border : (n,) bool
        Closest point lies on an open edge; the sign then means little.
    """

    distance_mm: FloatArray
    points: FloatArray
    normals: FloatArray
    on_border: BoolArray

    @property
    def known(self) -> BoolArray:
        """Points that met the surface within reach and not at its border."""
        return np.isfinite(self.distance_mm) & ~self.on_border


class DistanceField:
    """A mesh prepared for signed distances.

    Parameters
    ----------
    vertices, faces : (n, 3) float64, (m, 3) int64
        Consistently oriented; at least one face.

    Notes
    -----
    The sign is that of the angle-weighted pseudonormal of the closest face, edge or vertex, which is right
    everywhere around a closed surface: J. A. Bærentzen and H. Aanæs, "Signed distance computation using the
    angle weighted pseudonormal", IEEE Transactions on Visualization and Computer Graphics 11 (2005) 243-253.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import box
    >>> cube = box([2, 2, 2]).mesh
    >>> field = DistanceField(cube.vertices, cube.faces)
    >>> field.at(np.array([[0.0, 0, 3], [0, 0, 0.5], [4, 5, 0]])).distance_mm.tolist()
    [2.0, -0.5, 5.0]
    """

    def __init__(self, vertices: FloatArray, faces: IntArray) -> None:
        self._vertices, self._faces = vertices, faces
        self._index = SurfaceIndex(vertices, faces)
        self._face_normals = unit(doubled_areas(vertices, faces))
        table = edge_table(faces)
        self._edge_of = table.of_face
        sums = np.zeros((len(table.edges), 3))
        for axis in range(3):
            each = np.repeat(self._face_normals[:, axis], 3)
            sums[:, axis] = np.bincount(table.of_face.ravel(), each, len(sums))
        self._edge_normals = unit(sums)
        self._open = table.open
        self._vertex_normals = _angle_weighted(vertices, faces, self._face_normals)
        self._border = np.zeros(len(vertices), dtype=bool)
        self._border[table.edges[table.open]] = True

    def at(self, points: FloatArray, *, reach_mm: float = np.inf) -> Foot:
        """Return signed distances, feet and normals of (n, 3) points, as far as they lie within reach."""
        found = self._index.closest(points, reach_mm=reach_mm)
        met = found.face >= 0
        face = np.where(met, found.face, 0)
        corners = self._faces[face]
        foot = np.where(met[:, None], found.points, self._vertices[corners[:, 0]])
        share = barycentric(foot, self._vertices[corners])
        pseudo, on_border = self._pseudonormals(share, face)
        side = np.einsum("ij,ij->i", points - foot, pseudo)
        smooth = unit(np.einsum("ik,ikj->ij", share, self._vertex_normals[corners]))
        distance = np.where(side < 0.0, -found.distance_mm, found.distance_mm)
        return Foot(
            distance_mm=np.where(met, distance, np.inf),
            points=found.points,
            normals=np.where(met[:, None], smooth, 0.0),
            on_border=on_border & met,
        )

    def near(self, points: FloatArray, *, reach_mm: float) -> Foot:
        """Return what `at` does within reach, and beyond it the nearest vertex and the side of its normal.

        Far from the surface an exact foot takes long to find and is seldom needed.
        """
        foot = self.at(points, reach_mm=reach_mm)
        far = np.flatnonzero(~np.isfinite(foot.distance_mm))
        if len(far) == 0:
            return foot
        rough = self.at_vertices(points[far])
        return _overlaid(foot, far, rough)

    def at_vertices(self, points: FloatArray) -> Foot:
        """Return the nearest vertex of (n, 3) points, their distance from it and the side of its normal."""
        away, vertex = self._vertices_tree.query(points, workers=-1)
        vertex = self._used[vertex]
        places, normals = self._vertices[vertex], self._vertex_normals[vertex]
        side = np.einsum("ij,ij->i", points - places, normals)
        return Foot(
            distance_mm=np.where(side < 0.0, -away, away),
            points=places,
            normals=normals,
            on_border=self._border[vertex],
        )

    def roughly(
        self, points: FloatArray, normals: FloatArray, *, least_mm: float, reach_mm: float
    ) -> FloatArray:
        """Return signed distances, exact where they may exceed a least and lie within reach; nan on borders.

        Parameters
        ----------
        points, normals : (n, 3) float64
            Places on another surface with its outward unit normals.
        least_mm : float
            Closer than half of this, the tangent plane of the nearest vertex tells the distance well enough:
            its error is about the way to the vertex along the surface times half the turn of the normals.
        reach_mm : float
            Farther off, the distance from the nearest vertex is told.
        """
        rough = self.at_vertices(points)
        arm = points - rough.points
        height = np.einsum("ij,ij->i", arm, rough.normals)
        aside = np.sqrt(np.maximum(rough.distance_mm**2 - height**2, 0.0))
        doubt = aside * np.linalg.norm(normals - rough.normals, axis=1)
        plain = (np.abs(height) + doubt < 0.5 * least_mm) & ~rough.on_border
        distance = np.where(plain, height, rough.distance_mm)
        distance[rough.on_border] = np.nan
        rows = np.flatnonzero(~plain)
        exact = self.at(points[rows], reach_mm=reach_mm)
        met = np.isfinite(exact.distance_mm)
        distance[rows[met]] = np.where(exact.on_border[met], np.nan, exact.distance_mm[met])
        return distance

    @cached_property
    def _used(self) -> IntArray:
        return np.unique(self._faces)

    @cached_property
    def _vertices_tree(self) -> KDTree:
        return KDTree(self._vertices[self._used])

    def _pseudonormals(self, share: FloatArray, face: IntArray) -> tuple[FloatArray, BoolArray]:
        normal = self._face_normals[face].copy()
        border = np.zeros(len(face), dtype=bool)
        zero = share < _ON_EDGE
        for corner in range(3):  # side number `corner` runs from that corner to the next
            row = np.flatnonzero(zero[:, (corner + 2) % 3])
            edge = self._edge_of[face[row], corner]
            normal[row], border[row] = self._edge_normals[edge], self._open[edge]
        for corner in range(3):
            row = np.flatnonzero(zero[:, (corner + 1) % 3] & zero[:, (corner + 2) % 3])
            vertex = self._faces[face[row], corner]
            normal[row], border[row] = self._vertex_normals[vertex], self._border[vertex]
        return normal, border


def _overlaid(foot: Foot, rows: IntArray, other: Foot) -> Foot:
    """Return one answer with some rows taken from another."""
    whole = {name: getattr(foot, name).copy() for name in _PARTS}
    for name in _PARTS:
        whole[name][rows] = getattr(other, name)
    return Foot(**whole)


def barycentric(points: FloatArray, triangles: FloatArray) -> FloatArray:
    """Return the barycentric coordinates (n, 3) of points on triangles (n, 3, 3), clipped to 0 to 1.

    Examples
    --------
    >>> corner = np.array([[[0.0, 0, 0], [1, 0, 0], [0, 1, 0]]])
    >>> barycentric(np.array([[0.25, 0.5, 0.0]]), corner).tolist()
    [[0.25, 0.25, 0.5]]
    """
    a, b, c = (triangles[:, corner] for corner in range(3))
    whole = np.cross(b - a, c - a)
    square = np.einsum("ij,ij->i", whole, whole)
    scale = np.divide(1.0, square, out=np.zeros_like(square), where=square > 0.0)
    v = np.einsum("ij,ij->i", np.cross(points - a, c - a), whole) * scale
    w = np.einsum("ij,ij->i", np.cross(b - a, points - a), whole) * scale
    share = np.clip(np.stack([1.0 - v - w, v, w], axis=1), 0.0, 1.0)
    return np.asarray(share / np.maximum(share.sum(axis=1, keepdims=True), 1e-300))


def _angle_weighted(vertices: FloatArray, faces: IntArray, normals: FloatArray) -> FloatArray:
    corner = vertices[faces]
    sums = np.zeros((len(vertices), 3))
    for k in range(3):
        ahead, back = unit(corner[:, (k + 1) % 3] - corner[:, k]), unit(corner[:, k - 1] - corner[:, k])
        angle = np.arccos(np.clip(np.einsum("ij,ij->i", ahead, back), -1.0, 1.0))
        for axis in range(3):
            sums[:, axis] += np.bincount(faces[:, k], angle * normals[:, axis], len(vertices))
    return unit(sums)

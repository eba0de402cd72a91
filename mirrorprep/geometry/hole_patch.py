"""A patch for a hole: the surface around continued over it, or a flat cap."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array, diags_array
from scipy.sparse.linalg import spsolve
from scipy.spatial import KDTree

from mirrorprep.geometry.borders import Border
from mirrorprep.geometry.hole_filling import minimal_area_triangulation
from mirrorprep.geometry.implicit_surface import ImplicitSurface
from mirrorprep.geometry.normals import doubled_areas, unit, vertex_normals
from mirrorprep.geometry.patch_refinement import flip_to_delaunay, refine_patch, relax
from mirrorprep.geometry.topology import EdgeTable, edge_table
from mirrorprep.geometry.weld import weld_exact

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_BAND: Final = 0.5
_SMOOTHING: Final = 0.05
_MOST_NODES: Final = 200
_GROWTH: Final = 0.15
_FLAT_GROWTH: Final = 0.4
_MOST_BULGE: Final = 1.2


class PatchKind(StrEnum):
    """How a hole is closed."""

    SMOOTH = "smooth"
    FLAT = "flat"
    PLAIN = "plain"


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Patch:
    """The filling of one hole.

    Attributes
    ----------
    kind : PatchKind
        ``smooth``: curvature continued; ``flat``: least area, refined; ``plain``: least area, no new vertex.
    vertices : (k, 3) float64
        New vertices.
    faces : (m, 3) int64
        Numbers below the border's length are its corners, the others new vertices.
    """

    kind: PatchKind
    vertices: FloatArray
    faces: IntArray


class Surroundings:
    """A mesh with holes, prepared for patching them.

    Parameters
    ----------
    vertices, faces : (n, 3) float64, (m, 3) int64
        Consistently oriented, one fan of triangles per vertex.
    table : EdgeTable
        The edges of the faces.
    """

    def __init__(self, vertices: FloatArray, faces: IntArray, table: EdgeTable) -> None:
        self.vertices = vertices
        self.normals = vertex_normals(vertices, faces)
        self.used = np.flatnonzero(np.bincount(faces.ravel(), minlength=len(vertices)))
        self._tree = KDTree(vertices[self.used], balanced_tree=False)
        rim = np.zeros(len(vertices), dtype=bool)
        rim[table.edges[table.open]] = True
        self._bridges = table.edges[rim[table.edges].all(axis=1)]

    def bridges(self, corners: IntArray) -> IntArray:
        """Return the pairs of corners that a filling must not join, as numbers along the border.

        The mesh joins them already, or they lie at the same place.
        """
        place = np.full(len(self.vertices), -1, dtype=np.int64)
        place[corners] = np.arange(len(corners))
        ends = place[self._bridges]
        ends = ends[(ends >= 0).all(axis=1)]
        gap = np.abs(ends[:, 0] - ends[:, 1])
        ends = ends[(gap != 1) & (gap != len(corners) - 1)]
        weld = weld_exact(self.vertices[corners])
        if weld.merged == 0:
            return np.asarray(ends)
        twice = np.flatnonzero(np.bincount(weld.label)[weld.label] > 1)
        meeting = [(i, j) for i in twice for j in twice if i < j and weld.label[i] == weld.label[j]]
        return np.concatenate([ends, np.array(meeting, dtype=np.int64).reshape(-1, 2)])

    def band(self, corners: IntArray, width_mm: float, most: int) -> IntArray:
        """Return vertices within a distance of a border, thinned evenly to a number."""
        center = self.vertices[corners].mean(axis=0)
        reach = float(np.linalg.norm(self.vertices[corners] - center, axis=1).max()) + width_mm
        near = self.used[np.sort(self._tree.query_ball_point(center, reach))]
        distance, _ = KDTree(self.vertices[corners]).query(self.vertices[near])
        band = near[distance <= width_mm]
        chosen = np.linspace(0, len(band) - 1, min(len(band), most)).astype(np.int64)
        return np.union1d(band[chosen], corners[:: max(1, len(corners) // (most // 3))])


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Hole:
    """A border and its least-area triangulation.

    Attributes
    ----------
    border : Border
        The rim.
    rim : (k, 3) float64
        Its corners' places.
    bridges : (b, 2) int64
        Pairs of corners that must not be joined.
    faces : (k - 2, 3) int64
        The triangulation, by places along the border.
    slope : float
        Mean cosine of the angle between the triangles around the rim and the hole's mean plane: 1 where the
        surface runs straight into the hole, 0 for the end of a tube, negative where the surface turns back.
    """

    border: Border
    rim: FloatArray
    bridges: IntArray
    faces: IntArray
    slope: float


def find_hole(around: Surroundings, border: Border) -> Hole:
    """Return a border's hole with the triangulation that all patches start from."""
    rim = around.vertices[border.corners]
    bridges = around.bridges(border.corners)
    faces = minimal_area_triangulation(rim, forbidden=bridges)
    after = np.roll(rim, -1, axis=0)
    outer = unit(np.cross(rim - after, around.vertices[border.wings] - after))
    across = unit(doubled_areas(rim, faces).sum(axis=0))
    slope = float(np.average(outer @ across, weights=np.linalg.norm(after - rim, axis=1)))
    return Hole(border=border, rim=rim, bridges=bridges, faces=faces, slope=slope)


def plain_patch(hole: Hole) -> Patch:
    """Return the least-area triangulation itself."""
    return Patch(kind=PatchKind.PLAIN, vertices=np.zeros((0, 3)), faces=hole.faces)


def flat_patch(hole: Hole, *, growth: float = _FLAT_GROWTH) -> Patch:
    """Return the least-area triangulation refined to the spacing of the border, coarser inside."""
    rim = hole.rim
    step = np.linalg.norm(np.roll(rim, -1, axis=0) - rim, axis=1)
    spacing = np.maximum((step + np.roll(step, 1)) / 2.0, step.mean() / 4.0)
    vertices, faces = refine_patch(rim, hole.faces, spacing, growth=growth, forbidden=hole.bridges)
    return Patch(kind=PatchKind.FLAT, vertices=vertices[len(rim) :], faces=faces)


def smooth_patch(around: Surroundings, hole: Hole) -> Patch | None:
    """Return a patch that continues the curvature around the hole, or None where that fails.

    Notes
    -----
    An implicit surface is fitted to the band around the hole, about half its radius wide; the
    refined least-area patch is moved onto it, refined again and moved again. What the fitted surface misses
    at the border is spread harmonically, so that the border fits exactly.
    """
    flat = flat_patch(hole, growth=_GROWTH)
    if len(flat.vertices) == 0:
        return flat
    rim, count = hole.rim, len(hole.rim)
    radius = float(np.linalg.norm(rim - rim.mean(axis=0), axis=1).max())
    most = int(np.clip(4 * count, 40, _MOST_NODES))
    band = around.band(hole.border.corners, max(_BAND * radius, 2.0 * _mean_step(rim)), most)
    if len(band) < 12:
        return None
    surface = ImplicitSurface(
        around.vertices[band],
        around.normals[band],
        center=rim.mean(axis=0),
        scale_mm=radius,
        smoothing=_SMOOTHING,
    )
    vertices, faces = np.concatenate([rim, flat.vertices]), flat.faces
    miss = surface.values(rim)
    for _ in range(2):
        vertices = _onto(surface, vertices, faces, miss, rounds=2)
        faces = flip_to_delaunay(vertices, faces, hole.bridges)
        vertices = relax(vertices, faces, count, rounds=2)
    vertices = _onto(surface, vertices, faces, miss, rounds=5)
    moved = np.linalg.norm(vertices[count:] - rim.mean(axis=0), axis=1)
    if not np.isfinite(vertices).all() or moved.max() > _MOST_BULGE * 2.0 * radius:
        return None
    return Patch(kind=PatchKind.SMOOTH, vertices=vertices[count:], faces=faces)


def _onto(
    surface: ImplicitSurface, vertices: FloatArray, faces: IntArray, miss: FloatArray, *, rounds: int
) -> FloatArray:
    count = len(miss)
    moved = vertices.copy()
    moved[count:] = surface.project(vertices[count:], target=_harmonic(vertices, faces, miss), rounds=rounds)
    return moved


def _harmonic(vertices: FloatArray, faces: IntArray, rim_values: FloatArray) -> FloatArray:
    """Return values of the inner vertices, each the weighted mean of its neighbours'."""
    count, fixed = len(vertices), len(rim_values)
    edges = edge_table(faces).edges
    length = np.linalg.norm(vertices[edges[:, 1]] - vertices[edges[:, 0]], axis=1)
    weight = 1.0 / np.maximum(length, 1e-12 * float(length.max()))
    rows, columns = np.concatenate([edges, edges[:, ::-1]]).T
    links = coo_array((np.tile(weight, 2), (rows, columns)), shape=(count, count)).tocsr()
    laplacian = (diags_array(np.asarray(links.sum(axis=1)).ravel()) - links).tocsr()
    inner = laplacian[fixed:]
    return np.asarray(spsolve(inner[:, fixed:].tocsc(), -(inner[:, :fixed] @ rim_values))).reshape(-1)


def _mean_step(rim: FloatArray) -> float:
    return float(np.linalg.norm(np.roll(rim, -1, axis=0) - rim, axis=1).mean())

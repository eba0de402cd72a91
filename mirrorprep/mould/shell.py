"""An even wall around the cavity, by distances on a grid."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import KDTree

from mirrorprep.errors import NoPartingError
from mirrorprep.geometry.closest_point import closest_on_triangles
from mirrorprep.geometry.contour import contour
from mirrorprep.geometry.normals import vertex_normals
from mirrorprep.geometry.self_intersection import self_intersections
from mirrorprep.geometry.topology import bodies
from mirrorprep.solid.certify import certify
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.solid import Solid

FloatArray = NDArray[np.float64]

GRID_PER_WALL = 3.0
MOST_NODES = 12_000_000
_FINE_TRIANGLES = 30_000
_BAND_CELLS = 2.5
_CANDIDATES = 6
_DRAWN_SHARE = 0.07
_FACING = 0.97
_UNFOLDING_ROUNDS = 4


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Shell:
    """The outside of a shell mould, filled: the cavity and its wall in one body.

    Attributes
    ----------
    solid : Solid
        In the coordinates of the cavity.
    wall_mm : float
        As asked for.
    grid_mm : float
        Spacing of the distance grid.
    thickness_error_mm : (float, float, float)
        Least, greatest and root mean square of the measured thickness less the wall, over the vertices and
        face centres of the outside.
    thinnest_mm : (float, float, float)
        Where on the outside the wall is thinnest.
    filled_voids : int
        Hollows inside the part or between its folds that the wall closed off; they are filled.
    """

    solid: Solid
    wall_mm: float
    grid_mm: float
    thickness_error_mm: tuple[float, float, float]
    thinnest_mm: tuple[float, float, float]
    filled_voids: int


def even_shell(cavity: Solid, wall_mm: float, *, grid_mm: float | None = None) -> Shell:
    """Return the body of all points within a wall of the cavity, its hollows filled.

    Parameters
    ----------
    cavity : Solid
        The part.
    wall_mm : float
        Wall thickness.
    grid_mm : float, optional
        Grid spacing; a third of the wall by default.

    Returns
    -------
    Shell
        The outside only; the exact cavity is cut out of it later.

    Raises
    ------
    NoPartingError
        If the wall comes in several pieces, because the part does.

    Notes
    -----
    Near the wall's outside distances are those to the triangles found by samples; the level set is contoured
    and its vertices are drawn onto the exact distance. For a convex part the volume follows Steiner's
    formula V + A t + M t² + 4/3 π t³, from below, to the second order of the grid spacing.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import box
    >>> shell = even_shell(box([20, 30, 40]), 3.0, grid_mm=1.0)
    >>> abs(shell.solid.volume_mm3 / 42257.787 - 1.0) < 5e-3
    True
    """
    spacing = grid_mm if grid_mm is not None else wall_mm / GRID_PER_WALL
    origin, spacing, shape = _grid(cavity, wall_mm, spacing)
    near = _NearSurface(_coarse(cavity, spacing).mesh.triangles, max(0.5 * spacing, wall_mm / 8.0))
    values = near.on_grid(origin, spacing, shape, wall_mm) - wall_mm
    outside, regions = ndimage.label(values >= 0.0)
    values[(outside > 0) & (outside != outside[0, 0, 0])] = -spacing
    vertices, faces = contour(values, origin, spacing)
    count = bodies(faces, len(vertices))[0]
    if count != 1:
        raise NoPartingError(
            f"A wall of {wall_mm:g} mm around the part comes in {count} pieces (1 is right).",
            remedy="Choose a thicker wall, a block, or one part at a time.",
        )
    vertices = _without_folds(near.drawn_to(vertices, faces, wall_mm), vertices, faces)
    places = np.vstack([vertices, vertices[faces].mean(axis=1)])
    error = near.distance_mm(places) - wall_mm
    thinnest = places[int(np.argmin(error))]
    rms = float(np.sqrt(np.mean(error**2)))
    return Shell(
        solid=certify(ScanMesh(vertices=vertices, faces=faces)),
        wall_mm=wall_mm,
        grid_mm=spacing,
        thickness_error_mm=(float(error.min()), float(error.max()), rms),
        thinnest_mm=(float(thinnest[0]), float(thinnest[1]), float(thinnest[2])),
        filled_voids=int(regions) - 1,
    )


def _grid(cavity: Solid, wall_mm: float, spacing: float) -> tuple[FloatArray, float, NDArray[np.int_]]:
    """Return origin, spacing and shape of a grid around the wall, coarser when it would be too large."""
    low, high = cavity.bounds_mm
    size = high - low + 2.0 * (wall_mm + 3.0 * spacing)
    spacing = max(spacing, float(np.prod(size) / MOST_NODES) ** (1.0 / 3.0))
    shape = np.ceil(size / spacing).astype(int) + 1
    return (low + high) / 2.0 - spacing * (shape - 1) / 2.0, spacing, shape


def _coarse(cavity: Solid, spacing: float) -> Solid:
    """Return a copy with fewer triangles where the grid cannot tell the difference."""
    if len(cavity.mesh.faces) <= _FINE_TRIANGLES:
        return cavity
    return cavity.simplified(0.01 * spacing)


def _without_folds(drawn: FloatArray, before: FloatArray, faces: NDArray[np.int64]) -> FloatArray:
    """Return the drawn vertices, those put back whose triangles crossed others."""
    vertices = drawn.copy()
    for _ in range(_UNFOLDING_ROUNDS):
        crossed = self_intersections(vertices, faces)
        if len(crossed) == 0:
            return vertices
        around = np.isin(faces, np.unique(faces[crossed])).any(axis=1)
        held = np.unique(faces[around])
        vertices[held] = before[held]
    return before


class _NearSurface:
    """Distances to a surface from some way off: samples find the triangles, whose distance is exact.

    Samples lie `step_mm` apart. At a distance d the result is at most step² / (2 d) too large.
    """

    def __init__(self, triangles: FloatArray, step_mm: float) -> None:
        self._triangles = triangles
        self.points, self._face = _samples(triangles, step_mm)
        self._tree = KDTree(self.points, balanced_tree=False)

    def distance_mm(self, points: FloatArray) -> FloatArray:
        """Return the distances of (n, 3) points."""
        return np.asarray(np.linalg.norm(points - self.foot(points), axis=1))

    def drawn_to(self, vertices: FloatArray, faces: NDArray[np.int64], level_mm: float) -> FloatArray:
        """Return vertices moved straight to or from the surface onto a level.

        Those in creases, between two sides of the surface, stay where they are.
        """
        foot = self.foot(vertices)
        away = vertices - foot
        distance = np.linalg.norm(away, axis=1)
        facing = np.einsum("ij,ij->i", vertex_normals(vertices, faces), away) > _FACING * distance
        close = np.abs(distance - level_mm) < _DRAWN_SHARE * level_mm
        scale = np.where(close & facing, level_mm / np.maximum(distance, 1e-12), 1.0)
        return np.asarray(foot + scale[:, None] * away)

    def foot(self, points: FloatArray) -> FloatArray:
        """Return the closest points of the surface, shape (n, 3)."""
        _, sample = self._tree.query(points, k=min(_CANDIDATES, len(self.points)), workers=-1)
        faces = self._face[sample.reshape(len(points), -1)]
        foot = closest_on_triangles(points[:, None], self._triangles[faces])
        best = np.linalg.norm(points[:, None] - foot, axis=2).argmin(axis=1)
        return np.asarray(foot[np.arange(len(points)), best])

    def on_grid(
        self, origin: FloatArray, spacing: float, shape: NDArray[np.int_], level_mm: float
    ) -> FloatArray:
        """Return distances on a grid, within a band around a level; rough ones beyond."""
        marked = np.ones(tuple(shape), dtype=bool)
        marked[tuple(np.rint((self.points - origin) / spacing).astype(int).T)] = False
        values = np.asarray(ndimage.distance_transform_edt(marked), dtype=np.float64) * spacing
        band = np.abs(values - level_mm) < _BAND_CELLS * spacing
        nodes = origin + spacing * np.argwhere(band)
        values[band] = self.distance_mm(nodes)
        return values


def _samples(triangles: FloatArray, step_mm: float) -> tuple[FloatArray, NDArray[np.int64]]:
    """Return points on triangles and their triangle numbers, one per cell of half the step."""
    longest = np.linalg.norm(triangles - np.roll(triangles, 1, axis=1), axis=2).max(axis=1)
    steps = np.maximum(np.ceil(longest / step_mm), 1).astype(int)
    points, owners = [], []
    for count in np.unique(steps):
        rows = np.flatnonzero(steps == count)
        i, j = np.indices((count + 1, count + 1)).reshape(2, -1)
        keep = i + j <= count
        weights = np.column_stack([count - i - j, i, j])[keep] / count
        if count == 1:
            weights = np.full((1, 3), 1.0 / 3.0)
        points.append(np.einsum("kc,tcx->tkx", weights, triangles[rows]).reshape(-1, 3))
        owners.append(np.repeat(rows, len(weights)))
    found, face = np.concatenate(points), np.concatenate(owners)
    cells = np.floor((found - found.min(axis=0)) / (0.5 * step_mm)).astype(np.int64)
    base = cells.max(axis=0) + 1
    _, first = np.unique((cells[:, 0] * base[1] + cells[:, 1]) * base[2] + cells[:, 2], return_index=True)
    return found[first], face[first]

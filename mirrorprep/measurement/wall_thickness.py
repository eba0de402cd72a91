"""Wall thickness: the largest ball inside the part that touches each surface point."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from mirrorprep.geometry.crease_normals import crease_normals
from mirrorprep.geometry.normals import vertex_normals
from mirrorprep.geometry.surface_points import surface_samples
from mirrorprep.solid.solid import Solid

FloatArray = NDArray[np.float64]

_ROUNDS = 30
_SLACK = 0.005  # a ball that would shrink by less than this share stays as it is
_PARALLEL = 1.999  # of at most 2: tangent planes within 2.6° of each other
_MAP_SAMPLES = 8
_MAP_REACH = 3.0  # in spacings
_SAME_WAY = 0.7
_OPPOSED_COSINE = -0.5  # the walls face each other within 60°; anything less is a corner, not a wall

_STEPS, _STEP_SHARE, _HIT_SPACINGS = 80, 0.7, 1.5


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class WallThickness:
    """Wall thickness at points spread over the surface.

    Attributes
    ----------
    points_mm : (n, 3) float64
        Where it was measured.
    thickness_mm : (n,) float64
        Diameter of the largest inner ball touching there, or where no opposite wall stops it the way along
        the inward normal; NaN where that meets no wall either.
    normals : (n, 3) float64
        Outward unit normals there.
    spacing_mm : float
        Mean distance between sample points; features finer than this may be missed.
    """

    points_mm: FloatArray
    thickness_mm: FloatArray
    normals: FloatArray
    spacing_mm: float

    @property
    def smallest_mm(self) -> float:
        """The thinnest wall found, NaN when there is none."""
        return float(np.nanmin(self.thickness_mm)) if np.isfinite(self.thickness_mm).any() else float("nan")

    @property
    def thinnest_at_mm(self) -> FloatArray:
        """Where the thinnest wall is, shape (3,)."""
        return np.asarray(self.points_mm[int(np.nanargmin(self.thickness_mm))])

    def over(self, part: Solid) -> FloatArray:
        """Return the thickness at the vertices of the part, NaN where it has none; see `at`."""
        return self.at(part.mesh.vertices, vertex_normals(part.mesh.vertices, part.mesh.faces))

    def at(self, points: FloatArray, normals: FloatArray) -> FloatArray:
        """Return the thickness at surface points (n, 3) with outward normals, for a map.

        The mean of the nearest samples that face the same way, nearer ones weighing more; NaN where fewer
        than half of these have an opposite wall, or none lies near.

        Examples
        --------
        >>> from mirrorprep.solid.primitives import box
        >>> walls = wall_thickness(box([4, 30, 40]))
        >>> walls.at(np.array([[2.0, 0.0, 0.0]]), np.array([[1.0, 0.0, 0.0]])).round(2).tolist()
        [4.0]
        """
        count = min(_MAP_SAMPLES, len(self.points_mm))
        far, near = cKDTree(self.points_mm).query(points, k=np.arange(1, count + 1), workers=-1)
        same = np.einsum("ij,ikj->ik", normals, self.normals[near]) > _SAME_WAY
        close = same & (far < _MAP_REACH * self.spacing_mm)
        value = self.thickness_mm[near]
        known = close & np.isfinite(value)
        weight = np.where(known, 1.0 / (far + 0.1 * self.spacing_mm), 0.0)
        total = weight.sum(axis=1)
        mean = (weight * np.where(known, value, 0.0)).sum(axis=1) / np.maximum(total, 1e-300)
        return np.where(2 * known.sum(axis=1) >= np.maximum(close.sum(axis=1), 1), mean, np.nan)


def wall_thickness(part: Solid, *, count: int = 12_000, seed: int = 0) -> WallThickness:
    """Measure the wall thickness by shrinking an inner ball at each of `count` surface points.

    Parameters
    ----------
    part : Solid
        The part.
    count : int
        Number of points, spread evenly by area.
    seed : int
        Seed of the spread.

    Returns
    -------
    WallThickness
        Points, thickness and point spacing.

    Notes
    -----
    Shrinking-ball iteration after J. Ma, S. W. Bae, S. Choi, "3D medial axis point approximation using
    nearest neighbors and the normal field", The Visual Computer 28 (2012) 7-19. Where its two
    tangent planes are parallel the ball is laid between them, which makes flat walls exact. Where the ball
    touches at less than 120° between the outward normals, as in a round limb or a corner, the way along the
    inward normal to the next wall that faces the point counts instead.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import box
    >>> round(wall_thickness(box([4, 30, 40])).smallest_mm, 1)
    4.0
    """
    vertices, faces = part.mesh.vertices, part.mesh.faces
    points, face, shares = surface_samples(vertices, faces, count=count, seed=seed)
    normals = crease_normals(vertices, faces, face, shares)
    spacing = float(np.sqrt(part.mass_properties.area_mm2 / count))
    radius, touch = _inner_balls(points, normals)
    radius = _between_planes(points, normals, touch, radius)
    opposed = np.einsum("ij,ij->i", normals, normals[touch]) < _OPPOSED_COSINE
    thickness = 2.0 * radius
    thickness[~opposed] = _along_normals(points, normals, np.flatnonzero(~opposed), spacing)
    return WallThickness(
        points_mm=points,
        thickness_mm=thickness,
        normals=normals,
        spacing_mm=spacing,
    )


def _inner_balls(points: FloatArray, normals: FloatArray) -> tuple[FloatArray, NDArray[np.intp]]:
    """Shrink each ball to its nearest intruder until it hardly shrinks."""
    tree = cKDTree(points)
    radius = np.full(len(points), float(np.linalg.norm(np.ptp(points, axis=0))))
    touch = np.arange(len(points))
    active = np.arange(len(points))
    for _ in range(_ROUNDS):
        _, nearest = tree.query(
            points[active] - radius[active, None] * normals[active], eps=_SLACK, workers=-1
        )
        gap = points[active] - points[nearest]
        depth = np.einsum("ij,ij->i", gap, normals[active])
        square = np.einsum("ij,ij->i", gap, gap)
        touched = np.divide(square, 2.0 * depth, out=np.full(len(depth), np.inf), where=depth > 0.0)
        shrinks = touched < (1.0 - _SLACK) * radius[active]
        active = active[shrinks]
        radius[active], touch[active] = touched[shrinks], nearest[shrinks]
        if len(active) == 0:
            break
    return radius, touch


def _along_normals(
    points: FloatArray, normals: FloatArray, rows: NDArray[np.intp], spacing: float
) -> FloatArray:
    """Return the way from some of the points along the inward normal to a wall that faces them, else NaN.

    Steps as long as the way to the nearest sample allows; a sample that faces back stands for its tangent
    plane. Where the way leaves the part before, as through a wall met at a slant, there is no answer.
    """
    tree, answer = cKDTree(points), np.full(len(rows), np.nan)
    active, way = np.arange(len(rows)), np.full(len(rows), spacing)
    for _ in range(_STEPS):
        start, inward = points[rows[active]], -normals[rows[active]]
        place = start + way[active, None] * inward
        far, other = tree.query(place, workers=-1)
        facing = np.einsum("ij,ij->i", inward, normals[other])
        reach = np.einsum("ij,ij->i", points[other] - start, normals[other])
        met = np.divide(reach, facing, out=np.full(len(active), np.nan), where=facing > -_OPPOSED_COSINE)
        end = start + met[:, None] * inward
        hit = (met > 0.0) & (np.linalg.norm(end - points[other], axis=1) < _HIT_SPACINGS * spacing)
        answer[active[hit]] = met[hit]
        outside = np.einsum("ij,ij->i", place - points[other], normals[other]) > spacing
        way[active] += np.maximum(_STEP_SHARE * far, _STEP_SHARE * spacing)
        active = active[~hit & ~outside]
        if len(active) == 0:
            break
    return answer


def _between_planes(
    points: FloatArray, normals: FloatArray, touch: NDArray[np.intp], radius: FloatArray
) -> FloatArray:
    """Return the radius of the ball between the tangent planes of the two points, where that is close by.

    It takes away the error that the spacing of the points causes: a ball that touches the next sample
    instead of the true place is too large by about s²/(8r).
    """
    facing = 1.0 - np.einsum("ij,ij->i", normals, normals[touch])
    reach = np.einsum("ij,ij->i", normals[touch], points[touch] - points)
    flat = np.divide(reach, facing, out=radius.copy(), where=facing > _PARALLEL)
    return np.where(np.abs(flat - radius) < 0.5 * radius, np.minimum(flat, radius), radius)

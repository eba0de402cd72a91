"""Gauss–Newton refinement of planes, constrained to reflections, all planes at once."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mirrorprep.geometry.closest_point import closest_on_triangles
from mirrorprep.geometry.normals import unit
from mirrorprep.symmetry.cloud import Cloud
from mirrorprep.symmetry.lattice import Lattice, normal_class

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

ANNEALED = (0.04, 0.04, 0.04, 0.03, 0.03, 0.02, 0.02, 0.02, 0.015, 0.01, 0.01, 0.01)
POINTS = 600
GATE = 0.3
REACH = 0.06
POLISH_POINTS = 4_000
NOISY_POINTS = 20_000
POLISH_STEPS = 12
POLISH_REACH = 0.03
LOOK_AGAIN = (0, 1, 3, 6)
CANDIDATE_FACES = 4


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Images:
    """Reflected samples; leading axis over the planes.

    Attributes
    ----------
    points, normals : (k, p, 3) float64
        The samples and their normals.
    image, image_normals : (k, p, 3) float64
        The same, mirrored.
    """

    points: FloatArray
    normals: FloatArray
    image: FloatArray
    image_normals: FloatArray

    @classmethod
    def of(cls, points: FloatArray, normals: FloatArray, planes: FloatArray, offsets: FloatArray) -> "Images":
        """Mirror (p, 3) points with normals across k planes."""
        height = np.einsum("pi,ki->kp", points, planes) - offsets[:, None]
        turn = np.einsum("pi,ki->kp", normals, planes)
        shape = (len(planes), *points.shape)
        return cls(
            points=np.broadcast_to(points, shape),
            normals=np.broadcast_to(normals, shape),
            image=points - 2.0 * height[..., None] * planes[:, None],
            image_normals=normals - 2.0 * turn[..., None] * planes[:, None],
        )


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Pairs:
    """Mirrored samples with their counterparts on the surface; leading axis over the planes.

    Attributes
    ----------
    images : Images
        The mirrored samples.
    partner, partner_normals : (k, p, 3) float64
        Counterparts.
    usable : (k, p) bool
        Pairs that face the same way within reach, away from open edges.
    """

    images: Images
    partner: FloatArray
    partner_normals: FloatArray
    usable: BoolArray

    @property
    def distance(self) -> FloatArray:
        """Distance of each pair, infinite where not usable."""
        gap = self.images.image - self.partner
        return np.where(self.usable, np.sqrt(np.einsum("...i,...i->...", gap, gap)), np.inf)

    @property
    def facing(self) -> FloatArray:
        """Cosine between the normals of each pair."""
        return np.asarray(np.einsum("...i,...i->...", self.images.image_normals, self.partner_normals))


def lattice_pairs(cloud: Cloud, grid: Lattice, images: Images) -> Pairs:
    """Pair images with the tabled nearest smoothed sample."""
    cell = grid.cells(*np.moveaxis(images.image.astype(np.float32), -1, 0))
    found = grid.oriented[normal_class(images.image_normals) * grid.count + cell]
    return _paired(cloud, images, found, found >= 0)


def nearest_pairs(cloud: Cloud, images: Images, *, reach: float = REACH) -> Pairs:
    """Pair images with the nearest smoothed sample that faces the same way."""
    found = cloud.nearest(images.image, images.image_normals, reach=reach)
    inside = found < len(cloud.points)
    return _paired(cloud, images, np.where(inside, found, 0), inside)


def _paired(cloud: Cloud, images: Images, found: IntArray, inside: BoolArray) -> Pairs:
    normals = cloud.smooth_normals[found]
    facing = np.einsum("...i,...i->...", images.image_normals, normals)
    return Pairs(
        images=images,
        partner=cloud.smooth_points[found],
        partner_normals=normals,
        usable=inside & (facing > GATE) & ~cloud.border[found],
    )


def exact_pairs(cloud: Cloud, images: Images, near: IntArray) -> Pairs:
    """Pair images with the closest point on the faces of the given samples (k, p, c)."""
    inside = near < len(cloud.points)
    found = np.where(inside, near, 0)
    foot = closest_on_triangles(images.image[..., None, :], cloud.triangles[found])
    gap = images.image[..., None, :] - foot
    square = np.einsum("...i,...i->...", gap, gap)
    facing = np.einsum("kpi,kpci->kpc", images.image_normals, cloud.normals[found])
    square = np.where(inside & (facing > GATE), square, np.inf)
    best = square.argmin(axis=-1)[..., None]
    sample = np.take_along_axis(found, best, axis=-1)[..., 0]
    least = np.take_along_axis(square, best, axis=-1)[..., 0]
    return Pairs(
        images=images,
        partner=np.take_along_axis(foot, best[..., None], axis=-2)[..., 0, :],
        partner_normals=cloud.normals[sample],
        usable=(least < POLISH_REACH**2) & ~cloud.border[sample],
    )


def tangents(normals: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return two unit vectors at right angles to each of (k, 3) normals and to each other."""
    helper = np.eye(3)[np.abs(normals).argmin(axis=1)]
    u = unit(np.cross(helper, normals))
    return u, np.cross(normals, u)


def residuals(found: Pairs) -> tuple[FloatArray, FloatArray]:
    """Return symmetric point-to-plane distances (k, p) and the mean normals (k, p, 3) they are along."""
    middle = unit(found.images.image_normals + found.partner_normals)
    return np.asarray(np.einsum("kpi,kpi->kp", found.images.image - found.partner, middle)), middle


def gauss_newton(
    found: Pairs, weight: FloatArray, normals: FloatArray, offsets: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return improved normals and offsets, and the information per unit weight (k, 3, 3).

    The freedoms are two tilts about the weighted centre and the shift along the normal.
    """
    residual, m = residuals(found)
    points = found.images.points
    total = np.maximum(weight.sum(axis=1), 1e-12)
    center = np.einsum("kp,kpi->ki", weight, points + found.images.image) / (2.0 * total[:, None])
    u, v = tangents(normals)
    arm = points - center[:, None]
    height = np.einsum("kpi,ki->kp", points, normals) - offsets[:, None]
    across = np.einsum("kpi,ki->kp", m, normals)
    tilt_u, tilt_v = (
        -2.0 * (np.einsum("kpi,ki->kp", arm, t) * across + height * np.einsum("kpi,ki->kp", m, t))
        for t in (u, v)
    )
    jacobian = np.stack([tilt_u, tilt_v, 2.0 * across], axis=-1)
    weighted = weight[..., None] * jacobian
    information = np.einsum("kpi,kpj->kij", weighted, jacobian) / total[:, None, None]
    slope = np.einsum("kpi,kp->ki", weighted, residual) / total[:, None]
    step = -np.linalg.solve(information + 1e-9 * np.eye(3), slope[..., None])[..., 0]
    step = np.clip(step, -0.2, 0.2)
    moved = normals + step[:, :1] * u + step[:, 1:2] * v
    level = offsets - np.einsum("ki,ki->k", normals, center)
    length = np.sqrt(np.einsum("ki,ki->k", moved, moved))
    return (
        moved / length[:, None],
        (np.einsum("ki,ki->k", moved, center) + level + step[:, 2]) / length,
        information,
    )


def refined(
    cloud: Cloud, grid: Lattice, normals: FloatArray, offsets: FloatArray, *, seed: int
) -> tuple[FloatArray, FloatArray]:
    """Refine coarse planes with a Geman–McClure weight of shrinking width."""
    chosen = picked(cloud, POINTS, seed)
    points, directions = cloud.smooth_points[chosen], cloud.smooth_normals[chosen]
    for sigma in ANNEALED:
        found = lattice_pairs(cloud, grid, Images.of(points, directions, normals, offsets))
        weight = (sigma**2 / (sigma**2 + found.distance**2)) ** 2
        normals, offsets, _ = gauss_newton(found, weight, normals, offsets)
    return normals, offsets


def picked(cloud: Cloud, count: int, seed: int) -> IntArray:
    """Return some samples away from open edges."""
    eligible = np.flatnonzero(~cloud.border)
    rng = np.random.default_rng(seed + 1)
    return np.sort(rng.choice(eligible, min(count, len(eligible)), replace=False))


def polished(
    cloud: Cloud, normals: FloatArray, offsets: FloatArray, *, seed: int
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Refine to the limit of the data.

    Returns
    -------
    normals, offsets, information
        As `gauss_newton` gives them.
    spread : (k,) float64
        Weighted root mean square residual.
    """
    chosen = picked(cloud, NOISY_POINTS if cloud.noisy else POLISH_POINTS, seed)
    points = cloud.smooth_points if cloud.noisy else cloud.points
    directions = cloud.smooth_normals if cloud.noisy else cloud.normals
    sigma = np.full(len(normals), 0.01)
    near = np.zeros((len(normals), len(chosen), CANDIDATE_FACES), dtype=np.int64)
    for step in range(POLISH_STEPS):
        images = Images.of(points[chosen], directions[chosen], normals, offsets)
        if not cloud.noisy and step in LOOK_AGAIN:
            near = cloud.nearest(
                images.image, images.image_normals, reach=2 * POLISH_REACH, count=CANDIDATE_FACES
            )
        found = nearest_pairs(cloud, images) if cloud.noisy else exact_pairs(cloud, images, near)
        residual = np.where(found.usable, np.abs(residuals(found)[0]), np.inf)
        weight = (sigma[:, None] ** 2 / (sigma[:, None] ** 2 + residual**2)) ** 2
        normals, offsets, information = gauss_newton(found, weight, normals, offsets)
        sigma = _width(cloud, residual, weight)
    square = weight * np.where(found.usable, residual, 0.0) ** 2
    return normals, offsets, information, np.sqrt(square.sum(axis=1) / np.maximum(weight.sum(axis=1), 1e-12))


def _width(cloud: Cloud, residual: FloatArray, weight: FloatArray) -> FloatArray:
    if cloud.noisy:
        return np.full(len(residual), max(0.003, 3.0 * cloud.noise))
    spread = [weighted_median(r, w) for r, w in zip(residual, weight, strict=True)]
    return np.clip(3.0 * 1.4826 * np.array(spread), 1e-5, 0.015)


def weighted_median(values: FloatArray, weight: FloatArray) -> float:
    """Return the value that halves the summed weight."""
    order = np.argsort(values, kind="stable")
    ladder = np.cumsum(weight[order])
    return float(values[order[min(int(np.searchsorted(ladder, ladder[-1] / 2.0)), len(values) - 1)]])

"""Gauss–Newton refinement of planes, constrained to reflections, all starts at once."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mirrorprep.geometry.closest_point import closest_on_triangles
from mirrorprep.geometry.normals import unit
from mirrorprep.symmetry.cloud import Cloud

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

ANNEALED = (0.04, 0.04, 0.04, 0.03, 0.03, 0.02, 0.02, 0.02, 0.015, 0.01, 0.01, 0.01)
POINTS = 600
GATE = 0.3
POLISH_POINTS = 4_000
POLISH_STEPS = 12
POLISH_REACH = 0.03
CANDIDATE_FACES = 4


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Pairs:
    """Reflected points with their counterparts on the surface; leading axis over the planes."""

    points: FloatArray
    normals: FloatArray
    image: FloatArray
    image_normals: FloatArray
    partner: FloatArray
    partner_normals: FloatArray
    usable: BoolArray

    @property
    def middle(self) -> FloatArray:
        """Unit mean of the two normals of a pair."""
        return unit(self.image_normals + self.partner_normals)

    @property
    def residual(self) -> FloatArray:
        """Symmetric point-to-plane distance of each pair."""
        return np.asarray(np.einsum("...i,...i->...", self.image - self.partner, self.middle))


def reflected(points: FloatArray, normals: FloatArray, offsets: FloatArray) -> FloatArray:
    """Return (k, p, 3) points mirrored across k planes."""
    height = np.einsum("kpi,ki->kp", points, normals) - offsets[:, None]
    return np.asarray(points - 2.0 * height[..., None] * normals[:, None])


def pairs(cloud: Cloud, chosen: IntArray, normals: FloatArray, offsets: FloatArray) -> Pairs:
    """Pair smoothed samples with the nearest sample to their images."""
    count = len(normals)
    p = np.broadcast_to(cloud.smooth_points[chosen], (count, len(chosen), 3))
    n = np.broadcast_to(cloud.smooth_normals[chosen], p.shape)
    image = reflected(p, normals, offsets)
    image_normals = reflected(n, normals, np.zeros(count))
    found = cloud.nearest(image, image_normals)
    q, m = cloud.smooth_points[found], cloud.smooth_normals[found]
    facing = np.einsum("kpi,kpi->kp", image_normals, m)
    return Pairs(
        points=p,
        normals=n,
        image=image,
        image_normals=image_normals,
        partner=q,
        partner_normals=m,
        usable=(facing > GATE) & ~cloud.border[found],
    )


def exact_pairs(cloud: Cloud, chosen: IntArray, normals: FloatArray, offsets: FloatArray) -> Pairs:
    """Pair samples with the closest point on the nearby triangles."""
    count = len(normals)
    p = np.broadcast_to(cloud.points[chosen], (count, len(chosen), 3))
    n = np.broadcast_to(cloud.normals[chosen], p.shape)
    image = reflected(p, normals, offsets)
    image_normals = reflected(n, normals, np.zeros(count))
    query = np.concatenate([image, 0.02 * image_normals], axis=-1)
    found = np.asarray(cloud.tree.query(query, k=CANDIDATE_FACES, workers=-1)[1])
    foot = closest_on_triangles(image[..., None, :], cloud.triangles[found])
    gap = image[..., None, :] - foot
    square = np.einsum("...i,...i->...", gap, gap)
    facing = np.einsum("kpi,kpfi->kpf", image_normals, cloud.normals[found])
    square = np.where(facing > GATE, square, np.inf)
    best = square.argmin(axis=-1)[..., None]
    sample = np.take_along_axis(found, best, axis=-1)[..., 0]
    q = np.take_along_axis(foot, best[..., None], axis=-2)[..., 0, :]
    near = np.take_along_axis(square, best, axis=-1)[..., 0] < POLISH_REACH**2
    return Pairs(
        points=p,
        normals=n,
        image=image,
        image_normals=image_normals,
        partner=q,
        partner_normals=cloud.normals[sample],
        usable=near & ~cloud.border[sample],
    )


def gauss_newton(
    found: Pairs, weight: FloatArray, normals: FloatArray, offsets: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return improved normals and offsets and the normalised information matrices (k, 3, 3)."""
    total = np.maximum(weight.sum(axis=1), 1e-12)
    middle = (found.points + found.image) / 2.0
    x0 = np.einsum("kp,kpi->ki", weight, middle) / total[:, None]
    u, v = tangents(normals)
    m, relative = found.middle, found.points - x0[:, None]
    height = np.einsum("kpi,ki->kp", found.points, normals) - offsets[:, None]
    across = np.einsum("kpi,ki->kp", m, normals)
    columns = [
        -2.0 * (np.einsum("kpi,ki->kp", relative, t) * across + height * np.einsum("kpi,ki->kp", m, t))
        for t in (u, v)
    ]
    jacobian = np.stack([*columns, 2.0 * across], axis=-1)
    normal_matrix = np.einsum("kp,kpi,kpj->kij", weight, jacobian, jacobian)
    gradient = np.einsum("kp,kpi,kp->ki", weight, jacobian, found.residual)
    information = normal_matrix / total[:, None, None]
    damped = normal_matrix + 1e-9 * total[:, None, None] * np.eye(3)
    step = -np.linalg.solve(damped, gradient[..., None])[..., 0]
    step = np.clip(step, -0.2, 0.2)
    moved = normals + step[:, :1] * u + step[:, 1:2] * v
    at_x0 = np.einsum("ki,ki->k", normals, x0) - offsets
    length = np.sqrt(np.einsum("ki,ki->k", moved, moved))
    shifted = np.einsum("ki,ki->k", moved, x0) - at_x0 + step[:, 2]
    return moved / length[:, None], shifted / length, information


def tangents(normals: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return two unit vectors at right angles to each of (k, 3) normals and to each other."""
    helper = np.eye(3)[np.abs(normals).argmin(axis=1)]
    u = unit(np.cross(helper, normals))
    return u, np.cross(normals, u)


def refined(
    cloud: Cloud, normals: FloatArray, offsets: FloatArray, *, seed: int
) -> tuple[FloatArray, FloatArray]:
    """Refine coarse planes with a Geman–McClure weight of shrinking width."""
    chosen = _picked(cloud, POINTS, seed)
    for sigma in ANNEALED:
        found = pairs(cloud, chosen, normals, offsets)
        weight = geman_mcclure(found, sigma)
        normals, offsets, _ = gauss_newton(found, weight, normals, offsets)
    return normals, offsets


def geman_mcclure(found: Pairs, sigma: float | FloatArray) -> FloatArray:
    """Return robust weights (k, p) of pairs, zero where a pair is not usable."""
    gap = found.image - found.partner
    square = np.einsum("...i,...i->...", gap, gap)
    return np.asarray(np.where(found.usable, (sigma**2 / (sigma**2 + square)) ** 2, 0.0))


def _picked(cloud: Cloud, count: int, seed: int) -> IntArray:
    eligible = np.flatnonzero(~cloud.border)
    rng = np.random.default_rng(seed + 1)
    return np.sort(rng.choice(eligible, min(count, len(eligible)), replace=False))


def polished(
    cloud: Cloud, normals: FloatArray, offsets: FloatArray, *, seed: int
) -> tuple[FloatArray, FloatArray, FloatArray, Pairs, FloatArray]:
    """Refine to the limit of the data.

    Returns
    -------
    normals, offsets, information, pairs, weight
        Of the last step.
    """
    noisy = cloud.noisy
    chosen = _picked(cloud, 20_000 if noisy else POLISH_POINTS, seed)
    sigma = np.full((len(normals), 1), 0.01)
    for _ in range(POLISH_STEPS):
        found = (
            pairs(cloud, chosen, normals, offsets) if noisy else exact_pairs(cloud, chosen, normals, offsets)
        )
        residual = np.abs(found.residual)
        weight = np.where(found.usable, (sigma**2 / (sigma**2 + residual**2)) ** 2, 0.0)
        normals, offsets, information = gauss_newton(found, weight, normals, offsets)
        if noisy:
            sigma = np.full((len(normals), 1), max(0.003, 3.0 * cloud.noise))
        else:
            spread = [weighted_median(r, w) for r, w in zip(residual, weight, strict=True)]
            sigma = np.clip(3.0 * 1.4826 * np.array(spread)[:, None], 1e-5, 0.015)
    return normals, offsets, information, found, weight


def weighted_median(values: FloatArray, weight: FloatArray) -> float:
    """Return the value that halves the summed weight."""
    order = np.argsort(values, kind="stable")
    ladder = np.cumsum(weight[order])
    return float(values[order[min(np.searchsorted(ladder, ladder[-1] / 2.0), len(values) - 1)]])

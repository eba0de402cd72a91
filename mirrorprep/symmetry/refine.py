"""Refinement of coarse planes, all at once, first by table and then to the limit of the data."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mirrorprep.symmetry.cloud import Cloud
from mirrorprep.symmetry.lattice import Lattice
from mirrorprep.symmetry.mixture import Mixture
from mirrorprep.symmetry.newton import Chart, covariance, slopes
from mirrorprep.symmetry.pairing import (
    Images,
    close_pairs,
    counterparts,
    distances,
    lattice_pairs,
    levers,
    surface,
)

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

ANNEALED = (0.04, 0.04, 0.04, 0.03, 0.03, 0.02, 0.02, 0.02, 0.015, 0.01, 0.01, 0.01)
POINTS = 400
LOOK_AGAIN = (0, 1, 3)
FINEST = 1e-5


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Polished:
    """Planes refined to the limit of the data.

    Attributes
    ----------
    chart : Chart
        The planes and their freedoms.
    mixture : Mixture
        Strays and width of the distances.
    covariance : (k, 3, 3) float64
        Of the freedoms.
    """

    chart: Chart
    mixture: Mixture
    covariance: FloatArray


def refined(
    cloud: Cloud, grid: Lattice, normals: FloatArray, offsets: FloatArray, *, seed: int
) -> tuple[FloatArray, FloatArray]:
    """Refine coarse planes with a Geman–McClure weight of shrinking width."""
    chosen = picked(cloud, POINTS, seed)
    points, directions = cloud.smooth_points[chosen], cloud.smooth_normals[chosen]
    for sigma in ANNEALED:
        found = lattice_pairs(cloud, grid, Images.of(points, directions, normals, offsets))
        weight = (sigma**2 / (sigma**2 + found.distance**2)) ** 2
        at = slopes(found, weight, normals, offsets)
        normals, offsets = at.chart.moved(at.step())
    return normals, offsets


def picked(cloud: Cloud, count: int, seed: int) -> IntArray:
    """Return some samples away from open edges."""
    eligible = np.flatnonzero(~cloud.border)
    rng = np.random.default_rng(seed + 1)
    return np.sort(rng.choice(eligible, min(count, len(eligible)), replace=False))


def polished(
    cloud: Cloud, normals: FloatArray, offsets: FloatArray, *, points: int, steps: int, seed: int
) -> Polished:
    """Refine to the limit of the data: each step is one of expectation-maximisation."""
    chosen = picked(cloud, points, seed)
    samples, directions = surface(cloud, chosen)
    mixture = Mixture.start(len(normals), stray=0.3)
    for number in range(steps + 1):
        images = Images.of(samples, directions, normals, offsets)
        if number in LOOK_AGAIN:
            near = counterparts(cloud, images)
        found = close_pairs(cloud, images, near)
        residual = distances(found)
        member = mixture.membership(residual)
        at = slopes(found, member, normals, offsets)
        if number < steps:
            lever = levers(images, normals, offsets) * np.isfinite(residual)
            mixture = mixture.updated(residual, member, lever, finest=FINEST)
            normals, offsets = at.chart.moved(at.step())
    return Polished(chart=at.chart, mixture=mixture, covariance=covariance(found, at))

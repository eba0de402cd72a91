"""Mirrored samples and their counterparts on the surface."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mirrorprep.geometry.closest_point import closest_on_triangles
from mirrorprep.geometry.normals import unit
from mirrorprep.symmetry.cloud import Cloud
from mirrorprep.symmetry.lattice import Lattice, normal_class
from mirrorprep.symmetry.mixture import REACH

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

GATE = 0.3
PAIR_REACH = 0.06
LEVER_WIDTH = 0.0375
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


def surface(cloud: Cloud, chosen: IntArray) -> tuple[FloatArray, FloatArray]:
    """Return places and normals of some samples, smoothed when single triangles mean little."""
    if cloud.noisy:
        return cloud.smooth_points[chosen], cloud.smooth_normals[chosen]
    return cloud.points[chosen], cloud.normals[chosen]


def counterparts(cloud: Cloud, images: Images) -> IntArray:
    """Return the samples (k, p, c) at or on whose faces the counterparts of images lie; n for none."""
    count = 1 if cloud.noisy else CANDIDATE_FACES
    found = cloud.nearest(images.image, images.image_normals, reach=PAIR_REACH, count=count)
    return found[..., None] if cloud.noisy else found


def close_pairs(cloud: Cloud, images: Images, near: IntArray) -> Pairs:
    """Pair images with the closest point on the faces of samples (k, p, c), or with smoothed samples."""
    if not cloud.noisy:
        return exact_pairs(cloud, images, near)
    inside = near[..., 0] < len(cloud.points)
    return _paired(cloud, images, np.where(inside, near[..., 0], 0), inside)


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
        usable=(least < REACH**2) & ~cloud.border[sample],
    )


def residuals(found: Pairs) -> tuple[FloatArray, FloatArray]:
    """Return symmetric point-to-plane distances (k, p) and the mean normals (k, p, 3) they are along."""
    middle = unit(found.images.image_normals + found.partner_normals)
    return np.asarray(np.einsum("kpi,kpi->kp", found.images.image - found.partner, middle)), middle


def distances(found: Pairs) -> FloatArray:
    """Return the symmetric point-to-plane distance of each pair, infinite beyond reach."""
    distance = np.abs(residuals(found)[0])
    return np.where(found.usable & (distance < REACH), distance, np.inf)


def levers(images: Images, normals: FloatArray, offsets: FloatArray) -> FloatArray:
    """Return the weight of each sample: 0 on the plane, where anything meets its image, to 1 far from it."""
    height = np.einsum("kpi,ki->kp", images.points, normals) - offsets[:, None]
    return np.asarray(1.0 - np.exp(height**2 / (-2.0 * LEVER_WIDTH**2)))

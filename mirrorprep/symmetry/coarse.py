"""Exhaustive coarse search over every direction and offset of a mirror plane."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from mirrorprep.symmetry.cloud import Cloud

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

DIRECTIONS = 900
OFFSETS = 36
POINTS = 300
SIGMA = 0.025
KAPPA = 0.15
CELLS = 64
CLASS_COSINE = 0.2
BATCH = 8
STARTS = 24
NEAR_DEG = 8.0
NEAR_OFFSET = 0.035


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Lookup:
    """The nearest sample to every cell of a lattice, separately for six ranges of normals."""

    origin: FloatArray
    cell: float
    shape: IntArray
    oriented: IntArray
    any: IntArray


def hemisphere(count: int) -> FloatArray:
    """Return unit vectors spread evenly over a half sphere (golden-angle spiral), shape (count, 3)."""
    k = np.arange(count)
    z = (k + 0.5) / count
    angle = k * np.pi * (3.0 - np.sqrt(5.0))
    radius = np.sqrt(1.0 - z * z)
    return np.stack([radius * np.cos(angle), radius * np.sin(angle), z], axis=1)


def lookup(cloud: Cloud) -> Lookup:
    """Build the lattice of nearest samples."""
    low, high = cloud.points.min(axis=0) - 2 * SIGMA, cloud.points.max(axis=0) + 2 * SIGMA
    cell = float((high - low).max()) / CELLS
    shape = np.maximum(np.ceil((high - low) / cell).astype(np.int64), 1)
    place = np.minimum(((cloud.smooth_points - low) / cell).astype(np.int64), shape - 1)
    flat = np.ravel_multi_index(tuple(place.T), tuple(shape))
    layers = [
        _nearest_cells(flat[chosen], chosen, shape)
        for axis in range(3)
        for sign in (1.0, -1.0)
        for chosen in [np.flatnonzero(sign * cloud.smooth_normals[:, axis] > CLASS_COSINE)]
    ]
    everything = _nearest_cells(flat, np.arange(len(flat)), shape)
    return Lookup(origin=low, cell=cell, shape=shape, oriented=np.stack(layers), any=everything)


def _nearest_cells(flat: IntArray, sample: IntArray, shape: IntArray) -> IntArray:
    if len(flat) == 0:
        return np.full(int(np.prod(shape)), -1)
    holder = np.full(int(np.prod(shape)), -1)
    holder[flat] = sample
    empty = (holder < 0).reshape(tuple(shape))
    nearest = ndimage.distance_transform_edt(empty, return_distances=False, return_indices=True)
    return np.asarray(holder[np.ravel_multi_index(tuple(nearest.reshape(3, -1)), tuple(shape))])


def candidates(cloud: Cloud, *, seed: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return normals (k, 3), offsets (k,) and scores (k,) of the best coarse planes, best first."""
    directions = np.concatenate([_principal_axes(cloud.points), hemisphere(DIRECTIONS)])
    grid = lookup(cloud)
    rng = np.random.default_rng(seed)
    chosen = np.sort(rng.choice(len(cloud.points), POINTS, replace=False))
    offsets = np.empty((len(directions), OFFSETS))
    scores = np.empty((len(directions), OFFSETS))
    some = cloud.points[:: max(1, len(cloud.points) // 2000)]
    for start in range(0, len(directions), BATCH):
        block = slice(start, start + BATCH)
        heights = np.einsum("pi,di->dp", some, directions[block])
        low, high = np.percentile(heights, [3.0, 97.0], axis=1)
        offsets[block] = low[:, None] + (high - low)[:, None] * np.linspace(0.0, 1.0, OFFSETS)
        scores[block] = score(cloud, grid, chosen, directions[block], offsets[block])
    return _suppressed(directions, offsets, scores)


def _principal_axes(points: FloatArray) -> FloatArray:
    spread = points - points.mean(axis=0)
    return np.asarray(np.linalg.eigh(np.einsum("ni,nj->ij", spread, spread))[1].T)


def score(
    cloud: Cloud, grid: Lookup, chosen: IntArray, normals: FloatArray, offsets: FloatArray
) -> FloatArray:
    """Return the coarse score of (d, 3) normals with (d, o) offsets, shape (d, o)."""
    p, n = cloud.smooth_points[chosen], cloud.smooth_normals[chosen]
    across = np.einsum("pi,di->dp", n, normals)
    image_normal = n[None] - 2.0 * across[..., None] * normals[:, None]
    axis = np.abs(image_normal).argmax(axis=-1)
    facing = np.take_along_axis(image_normal, axis[..., None], axis=-1)[..., 0]
    layer = 2 * axis + (facing < 0.0)
    h = np.einsum("pi,di->dp", p, normals)[:, None] - offsets[..., None]
    image = p[None, None] - 2.0 * h[..., None] * normals[:, None, None]
    cell = ((image - grid.origin) / grid.cell).astype(np.int64)
    cell = np.clip(cell, 0, grid.shape - 1)
    flat = (cell[..., 0] * grid.shape[1] + cell[..., 1]) * grid.shape[2] + cell[..., 2]
    found = grid.oriented[layer[:, None], flat]
    gap = image - cloud.smooth_points[found]
    square = np.einsum("dopi,dopi->dop", gap, gap)
    facing_same = np.einsum("dpi,dopi->dop", image_normal, cloud.smooth_normals[found])
    match = np.exp(square / (-2.0 * SIGMA**2)) * np.maximum(facing_same, 0.0) ** 2
    match[(found < 0) | cloud.border[found]] = 0.0
    return combined(match, h, cloud.unknown[grid.any[flat]])


def combined(match: FloatArray, height: FloatArray, excused: NDArray[np.bool_]) -> FloatArray:
    """Return the score from per-point matches: what is missing counts as unknown, not as contradiction."""
    lever = 1.0 - np.exp(height**2 / (-2.0 * (1.5 * SIGMA) ** 2))
    matched = (match * lever).mean(axis=-1)
    unknown = (1.0 - lever).mean(axis=-1) + (lever * (1.0 - match) * excused).mean(axis=-1)
    return np.asarray(matched / np.maximum(1.0 - unknown + KAPPA, matched + KAPPA))


def _suppressed(
    directions: FloatArray, offsets: FloatArray, scores: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    flat = scores.copy()
    cosine = np.cos(np.radians(NEAR_DEG))
    normals, depths, values = [], [], []
    for _ in range(STARTS):
        row, column = np.unravel_index(int(flat.argmax()), flat.shape)
        if not np.isfinite(flat[row, column]):
            break
        normals.append(directions[row])
        depths.append(offsets[row, column])
        values.append(scores[row, column])
        dot = np.einsum("di,i->d", directions, directions[row])
        same = np.abs(dot) > cosine
        close = np.abs(np.sign(dot)[:, None] * offsets - offsets[row, column]) < NEAR_OFFSET
        flat[same[:, None] & close] = -np.inf
    return np.array(normals), np.array(depths), np.array(values)

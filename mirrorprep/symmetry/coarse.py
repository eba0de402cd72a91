"""Exhaustive coarse search over every direction and offset of a mirror plane."""

from concurrent.futures import ThreadPoolExecutor

import numpy as np
from numpy.typing import NDArray

from mirrorprep.symmetry.cloud import Cloud
from mirrorprep.symmetry.lattice import Float32Array, Lattice, normal_class

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

DIRECTIONS = 900
OFFSETS = 36
POINTS = 300
SIGMA = 0.025
KAPPA = 0.06
FIRST_POINTS = 100
SECOND_LOOK = 6_000
BATCH = 80_000
WORKERS = 2
STARTS = 64
NEAR_DEG = 8.0
NEAR_OFFSET = 0.035


def hemisphere(count: int) -> FloatArray:
    """Return unit vectors spread evenly over a half sphere (golden-angle spiral), shape (count, 3)."""
    k = np.arange(count)
    z = (k + 0.5) / count
    angle = k * np.pi * (3.0 - np.sqrt(5.0))
    radius = np.sqrt(1.0 - z * z)
    return np.stack([radius * np.cos(angle), radius * np.sin(angle), z], axis=1)


def candidates(cloud: Cloud, grid: Lattice, *, seed: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return normals (k, 3), offsets (k,) and scores (k,) of the best coarse planes, best first.

    Every plane is scored with a few points, the better ones with all.
    """
    directions = np.concatenate([_principal_axes(cloud.points), hemisphere(DIRECTIONS)])
    some = cloud.points[:: max(1, len(cloud.points) // 2000)]
    heights = np.sort(np.einsum("pi,di->dp", some, directions), axis=1)
    low, high = (heights[:, int(share * (len(some) - 1))] for share in (0.03, 0.97))
    offsets = low[:, None] + (high - low)[:, None] * np.linspace(0.0, 1.0, OFFSETS)
    rng = np.random.default_rng(seed)
    chosen = rng.choice(len(cloud.points), POINTS, replace=False)
    first = _scores(cloud, grid, np.sort(chosen[:FIRST_POINTS]), directions, offsets)
    row, column = np.divmod(np.sort(np.argsort(-first, axis=None, kind="stable")[:SECOND_LOOK]), OFFSETS)
    scores = np.full(first.shape, -np.inf)
    second = _scores(cloud, grid, np.sort(chosen), directions[row], offsets[row, column][:, None])
    scores[row, column] = second[:, 0]
    return _suppressed(directions, offsets, scores)


def _scores(
    cloud: Cloud, grid: Lattice, chosen: IntArray, directions: FloatArray, offsets: FloatArray
) -> FloatArray:
    points, normals = cloud.smooth_points[chosen], cloud.smooth_normals[chosen]
    batch = max(1, BATCH // (len(chosen) * offsets.shape[1]))

    def block(start: int) -> FloatArray:
        rows = slice(start, start + batch)
        return lattice_scores(grid, points, normals, directions[rows], offsets[rows])

    with ThreadPoolExecutor(max_workers=WORKERS) as pool:
        return np.concatenate(list(pool.map(block, range(0, len(directions), batch))))


def _principal_axes(points: FloatArray) -> FloatArray:
    spread = points - points.mean(axis=0)
    return np.asarray(np.linalg.eigh(np.einsum("ni,nj->ij", spread, spread))[1].T)


def lattice_scores(
    grid: Lattice, points: FloatArray, normals: FloatArray, across: FloatArray, offsets: FloatArray
) -> FloatArray:
    """Return the coarse scores of planes with (d, 3) normals and (d, o) offsets from (p, 3) points."""
    dot = np.einsum("pi,di->dp", normals, across)
    image_normals = normals - 2.0 * dot[..., None] * across[:, None]
    layer = (normal_class(image_normals) * grid.count).astype(np.int32)[:, None]
    height = np.einsum("pi,di->dp", points, across)[:, None] - offsets[..., None]
    height = height.astype(np.float32)
    twice = -2.0 * height
    x, y, z = (
        points[:, axis].astype(np.float32) + twice * across[:, axis].astype(np.float32)[:, None, None]
        for axis in range(3)
    )
    cell = grid.cells(x, y, z)
    found = grid.oriented[layer + cell]
    square = (x - grid.points[0][found]) ** 2
    square += (y - grid.points[1][found]) ** 2
    square += (z - grid.points[2][found]) ** 2
    m = image_normals.astype(np.float32)[:, None]
    facing = m[..., 0] * grid.normals[0][found]
    facing += m[..., 1] * grid.normals[1][found]
    facing += m[..., 2] * grid.normals[2][found]
    match = np.exp(square * np.float32(-0.5 / SIGMA**2)) * np.maximum(facing, np.float32(0.0)) ** 2
    match[grid.border[found]] = 0.0
    return combined(match, height, grid.excused[cell])


def combined(match: Float32Array, height: Float32Array, excused: BoolArray) -> FloatArray:
    """Return the score from per-point matches: what is missing counts as unknown, not as contradiction."""
    lever = 1.0 - np.exp(height**2 * height.dtype.type(-0.5 / (1.5 * SIGMA) ** 2))
    of_match = lever * match
    matched = of_match.mean(axis=-1)
    unknown = 1.0 - lever.mean(axis=-1) + ((lever - of_match) * excused).mean(axis=-1)
    return np.asarray(matched / np.maximum(1.0 - unknown + KAPPA, matched + KAPPA), dtype=np.float64)


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
        near = np.flatnonzero(np.abs(dot) > cosine)
        close = np.abs(np.sign(dot[near])[:, None] * offsets[near] - offsets[row, column]) < NEAR_OFFSET
        flat[near] = np.where(close, -np.inf, flat[near])
    return np.array(normals), np.array(depths), np.array(values)

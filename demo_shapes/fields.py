"""Signed distances and their soft combinations: negative inside, millimetres, on (n, 3) points."""

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
Field = Callable[[FloatArray], FloatArray]


def length(vectors: FloatArray) -> FloatArray:
    """Return the lengths of (n, 3) vectors."""
    return np.asarray(np.sqrt(np.einsum("ij,ij->i", vectors, vectors)))


def times(points: FloatArray, matrix: FloatArray) -> FloatArray:
    """Return ``points @ matrix`` in sums that do not depend on the number of threads."""
    return np.asarray(np.einsum("ij,jk->ik", points, matrix))


def soft_min(first: FloatArray, second: FloatArray, blend_mm: float) -> FloatArray:
    """Return the union of two distances, filleted over `blend_mm` (quadratic polynomial blend).

    Examples
    --------
    >>> soft_min(np.array([1.0, 5.0]), np.array([1.0, 0.0]), 2.0).tolist()
    [0.5, 0.0]
    """
    overlap = np.maximum(blend_mm - np.abs(first - second), 0.0) / blend_mm
    return np.asarray(np.minimum(first, second) - overlap * overlap * (blend_mm * 0.25))


def soft_max(first: FloatArray, second: FloatArray, blend_mm: float) -> FloatArray:
    """Return the intersection of two distances, rounded over `blend_mm`."""
    return -soft_min(-first, -second, blend_mm)


def carve(body: FloatArray, tool: FloatArray, blend_mm: float) -> FloatArray:
    """Return `body` less `tool`, the rim rounded over `blend_mm`."""
    return soft_max(body, -tool, blend_mm)


def ball(points: FloatArray, center: ArrayLike, radius_mm: float) -> FloatArray:
    """Return the distance from a ball."""
    return length(points - np.asarray(center)) - radius_mm


def ellipsoid(
    points: FloatArray, center: ArrayLike, radii: ArrayLike, *, turn: FloatArray | None = None
) -> FloatArray:
    """Return a first-order distance from an ellipsoid whose axes are the columns of `turn`."""
    local = points - np.asarray(center, dtype=np.float64)
    if turn is not None:
        local = times(local, turn)
    scaled = local / np.asarray(radii, dtype=np.float64)
    size = length(scaled)
    slope = length(scaled / np.asarray(radii, dtype=np.float64))
    return np.asarray(size * (size - 1.0) / np.maximum(slope, 1e-9))


def round_cone(
    points: FloatArray, start: ArrayLike, stop: ArrayLike, start_radius_mm: float, stop_radius_mm: float
) -> FloatArray:
    """Return the distance from a limb that swells linearly from one end ball to the other."""
    base = np.asarray(start, dtype=np.float64)
    axis = np.asarray(stop, dtype=np.float64) - base
    offset = points - base
    t = np.clip(times(offset, axis[:, None])[:, 0] / (axis @ axis), 0.0, 1.0)
    radius = start_radius_mm + t * (stop_radius_mm - start_radius_mm)
    return np.asarray(length(offset - t[:, None] * axis) - radius)


def bump(points: FloatArray, center: ArrayLike, spread: ArrayLike, height_mm: float) -> FloatArray:
    """Return a Gaussian swelling, to be subtracted from a distance (negative height for a hollow)."""
    scaled = (points - np.asarray(center, dtype=np.float64)) / np.asarray(spread, dtype=np.float64)
    return np.asarray(height_mm * np.exp(-0.5 * np.einsum("ij,ij->i", scaled, scaled)))


def rotation(axis: int, angle_deg: float) -> FloatArray:
    """Return the (3, 3) rotation about a coordinate axis."""
    angle = np.radians(angle_deg)
    turn = np.eye(3)
    i, j = (axis + 1) % 3, (axis + 2) % 3
    turn[i, i] = turn[j, j] = np.cos(angle)
    turn[i, j], turn[j, i] = -np.sin(angle), np.sin(angle)
    return turn


def smooth_step(low: float, high: float, value: FloatArray) -> FloatArray:
    """Return 0 below `low`, 1 above `high` and a smooth rise between."""
    t = np.clip((value - low) / (high - low), 0.0, 1.0)
    return np.asarray(t * t * (3.0 - 2.0 * t))

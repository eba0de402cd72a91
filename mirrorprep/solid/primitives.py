"""Simple solids for moulds and tests."""

from collections.abc import Sequence

import manifold3d
import numpy as np
from numpy.typing import ArrayLike

from mirrorprep.solid.solid import Solid


def box(size_mm: Sequence[float], *, center_mm: ArrayLike = (0.0, 0.0, 0.0)) -> Solid:
    """Return an axis-aligned box about a centre."""
    body = manifold3d.Manifold.cube(tuple(float(s) for s in size_mm), center=True)
    return Solid(body).translated(center_mm)


def frustum(
    start_mm: ArrayLike,
    stop_mm: ArrayLike,
    *,
    start_radius_mm: float,
    stop_radius_mm: float,
    segments: int = 64,
) -> Solid:
    """Return a circular frustum (a cylinder when the radii agree) from one axis point to another.

    The n-gon is inscribed in the circle.
    """
    start = np.asarray(start_mm, dtype=np.float64)
    axis = np.asarray(stop_mm, dtype=np.float64) - start
    height = float(np.linalg.norm(axis))
    body = manifold3d.Manifold.cylinder(height, start_radius_mm, stop_radius_mm, segments)
    frame = np.eye(4)
    frame[:3, :3] = frame_along(axis / height)
    frame[:3, 3] = start
    return Solid(body).transformed(frame)


def sphere(radius_mm: float, *, center_mm: ArrayLike = (0.0, 0.0, 0.0), segments: int = 64) -> Solid:
    """Return a faceted ball inscribed in the sphere."""
    return Solid(manifold3d.Manifold.sphere(radius_mm, segments)).translated(center_mm)


def prism(outline_mm: ArrayLike, low_mm: float, high_mm: float) -> Solid:
    """Return the prism over a simple polygon (n, 2) in the xy-plane between two heights."""
    polygon = np.asarray(outline_mm, dtype=np.float64)
    section = manifold3d.CrossSection([polygon])
    body = manifold3d.Manifold.extrude(section, float(high_mm - low_mm))
    return Solid(body).translated((0.0, 0.0, low_mm))


def frame_along(direction: ArrayLike) -> np.ndarray:
    """Return a right-handed rotation (3, 3) whose third column is the unit `direction`.

    The choice of the other two columns is deterministic.
    """
    z = np.asarray(direction, dtype=np.float64)
    z = z / np.linalg.norm(z)
    helper = np.eye(3)[int(np.argmin(np.abs(z)))]
    x = np.cross(helper, z)
    x = x / np.linalg.norm(x)
    return np.column_stack([x, np.cross(z, x), z])

"""The implicit surface against spheres and ellipsoids, whose form is known."""

import numpy as np
import pytest

from mirrorprep.geometry.implicit_surface import ImplicitSurface


def ring(axes, low, high, count=200, seed=0):
    """Points of an ellipsoid whose direction lies `low` to `high` degrees from the z axis, with normals."""
    rng = np.random.default_rng(seed)
    height = np.cos(np.radians(rng.uniform(low, high, count)))
    turn = rng.uniform(0, 2 * np.pi, count)
    reach = np.sqrt(1 - height**2)
    way = np.column_stack([reach * np.cos(turn), reach * np.sin(turn), height])
    normals = way / axes
    return way * axes, normals / np.linalg.norm(normals, axis=1, keepdims=True)


@pytest.mark.parametrize(
    ("axes", "limit"), [([10.0, 10.0, 10.0], 0.01), ([12.0, 10.0, 8.0], 0.015), ([7.0, 9.0, 14.0], 0.03)]
)
def test_continues_a_cap_of_40_degrees(axes, limit):
    axes = np.array(axes)
    points, normals = ring(axes, 40, 60)
    size = 2 * np.sin(np.radians(40)) * axes[:2].max()
    surface = ImplicitSurface(points, normals, center=points.mean(axis=0), scale_mm=size / 2, smoothing=0.01)
    start = ring(axes, 0, 38, count=100, seed=1)[0] * 0.9
    moved = surface.project(start, rounds=8)
    off = np.abs(np.linalg.norm(moved / axes, axis=1) - 1.0) * axes.min()
    assert off.max() < limit * size


def test_interpolates_without_smoothing_and_evens_noise_out_with_it():
    points, normals = ring(np.array([10.0, 10, 10]), 0, 60)
    noisy = points + np.random.default_rng(1).normal(0, 0.1, len(points))[:, None] * normals
    options = {"center": noisy.mean(axis=0), "scale_mm": 8.0}
    exact = ImplicitSurface(noisy, normals, smoothing=0.0, **options)
    assert np.abs(exact.values(noisy)).max() < 1e-6
    smooth = ImplicitSurface(noisy, normals, smoothing=0.05, **options)
    off = np.linalg.norm(smooth.project(noisy), axis=1) - 10.0
    assert off.std() < 0.06


def test_moving_and_turning_the_points_moves_the_surface_with_them():
    points, normals = ring(np.array([10.0, 11, 12]), 20, 60)
    turn = np.array([[0.0, 0, 1], [1, 0, 0], [0, 1, 0]])
    start = np.array([[0.0, 0, 11.0], [1, 1, 11.0]])
    one = ImplicitSurface(points, normals, center=np.zeros(3), scale_mm=5.0, smoothing=0.01)
    other = ImplicitSurface(
        points @ turn.T + 3.0, normals @ turn.T, center=np.full(3, 3.0), scale_mm=5.0, smoothing=0.01
    )
    moved = other.project(start @ turn.T + 3.0)
    np.testing.assert_allclose(one.project(start) @ turn.T + 3.0, moved, atol=1e-6)


def test_a_target_value_is_about_a_signed_distance():
    points, normals = ring(np.array([10.0, 10, 10]), 0, 60)
    surface = ImplicitSurface(points, normals, center=points.mean(axis=0), scale_mm=8.0, smoothing=0.0)
    lifted = surface.project(points[:20], target=np.full(20, 0.5), rounds=8)
    np.testing.assert_allclose(np.linalg.norm(lifted, axis=1), 10.5, atol=0.03)

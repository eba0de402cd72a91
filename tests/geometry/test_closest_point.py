"""Closest point on a triangle against a general quadratic optimiser."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize

from mirrorprep.geometry.closest_point import closest_on_triangles


@settings(deadline=None, max_examples=30, derandomize=True)
@given(seed=st.integers(0, 100_000))
def test_against_constrained_optimiser(seed):
    # Convex quadratic over the barycentric simplex: scipy.optimize.minimize (SLSQP).
    rng = np.random.default_rng(seed)
    triangle, point = rng.normal(size=(3, 3)), 2 * rng.normal(size=3)
    best = minimize(
        lambda w: ((w @ triangle - point) ** 2).sum(),
        np.full(3, 1 / 3),
        bounds=[(0, 1)] * 3,
        constraints={"type": "eq", "fun": lambda w: w.sum() - 1},
        tol=1e-14,
    )
    found = closest_on_triangles(point[None], triangle[None])[0]
    assert np.linalg.norm(found - point) == pytest.approx(np.sqrt(best.fun), abs=1e-6)


def test_degenerate_triangles_act_as_segment_or_point():
    segment = np.array([[0.0, 0, 0], [2, 0, 0], [1, 0, 0]])
    point = np.array([[1.0, 1, 1]] * 3)
    found = closest_on_triangles(np.array([[1.5, 4.0, 0.0], [-3, 0, 0]]), np.stack([segment] * 2))
    np.testing.assert_allclose(found, [[1.5, 0, 0], [0, 0, 0]], atol=1e-12)
    np.testing.assert_allclose(closest_on_triangles(np.zeros((1, 3)), point[None]), [[1, 1, 1]])


def test_shapes_broadcast():
    rng = np.random.default_rng(0)
    points, triangles = rng.normal(size=(4, 1, 3)), rng.normal(size=(4, 5, 3, 3))
    found = closest_on_triangles(points, triangles)
    assert found.shape == (4, 5, 3)
    np.testing.assert_array_equal(found[2, 3], closest_on_triangles(points[2], triangles[2, 3][None])[0])

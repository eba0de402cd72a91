"""Spread of points over a surface."""

import numpy as np
import pytest

from mirrorprep.geometry.surface_points import surface_points, surface_samples
from mirrorprep.solid.primitives import box


def test_points_lie_on_the_faces_and_are_spread_by_area():
    mesh = box([2, 4, 8]).mesh
    points, normals = surface_points(mesh.vertices, mesh.faces, count=11_200, seed=1)
    on_x = np.abs(normals[:, 0]) > 0.5
    assert np.abs(points[on_x, 0]) == pytest.approx(np.ones(on_x.sum()), abs=1e-12)
    assert on_x.sum() == pytest.approx(11_200 * 64 / 112, abs=8)
    assert np.linalg.norm(normals, axis=1) == pytest.approx(1.0)


def test_samples_are_the_same_points_with_their_faces():
    mesh = box([2, 4, 8]).mesh
    points, normals = surface_points(mesh.vertices, mesh.faces, count=500, seed=3)
    same, face, shares = surface_samples(mesh.vertices, mesh.faces, count=500, seed=3)
    assert np.array_equal(points, same)
    corners = mesh.vertices[mesh.faces[face]]
    np.testing.assert_allclose(np.einsum("ik,ikj->ij", shares, corners), points, atol=1e-12)
    np.testing.assert_allclose(np.einsum("ij,ij->i", points - corners[:, 0], normals), 0.0, atol=1e-12)

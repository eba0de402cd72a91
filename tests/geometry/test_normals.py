"""Normals against closed forms."""

import numpy as np
import pytest

from mirrorprep.geometry.normals import doubled_areas, fitted_normals, unit, vertex_normals


def ball(n=40):
    theta, phi = np.meshgrid(
        np.linspace(0.01, np.pi - 0.01, n), np.linspace(0, 2 * np.pi, 2 * n), indexing="ij"
    )
    return np.stack([np.sin(theta) * np.cos(phi), np.sin(theta) * np.sin(phi), np.cos(theta)], -1).reshape(
        -1, 3
    )


def test_doubled_areas_are_the_cross_product():
    rng = np.random.default_rng(0)
    vertices, faces = rng.normal(size=(30, 3)), rng.integers(0, 30, size=(50, 3))
    a, b, c = np.moveaxis(vertices[faces], 1, 0)
    np.testing.assert_allclose(doubled_areas(vertices, faces), np.cross(b - a, c - a), atol=1e-14)


def test_unit_keeps_zero():
    np.testing.assert_array_equal(unit(np.array([[0.0, 0, 0], [0, 3, 4]])), [[0, 0, 0], [0, 0.6, 0.8]])


def test_vertex_normals_of_a_sphere_point_outward():
    # On a sphere about the origin the normal is the position.
    from mirrorprep.solid.primitives import sphere

    mesh = sphere(10.0, segments=128).mesh
    normals = vertex_normals(mesh.vertices, mesh.faces)
    assert (np.einsum("ij,ij->i", normals, mesh.vertices / 10.0) > 0.999).all()


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_fitted_normals_of_a_sphere_follow_the_hint(sign):
    from scipy.spatial import KDTree

    points = ball()
    near = KDTree(points).query(points, k=20)[1]
    normals = fitted_normals(points[near], sign * points)
    inner = np.abs(points[:, 2]) < 0.9
    assert (sign * np.einsum("ij,ij->i", normals, points))[inner].min() > 0.99

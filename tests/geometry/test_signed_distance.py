"""Signed distances against VTK's implicit distance and closed forms."""

import numpy as np
import pytest

from mirrorprep.geometry.signed_distance import DistanceField, barycentric
from mirrorprep.solid.primitives import box, sphere


def field_of(solid):
    return DistanceField(solid.mesh.vertices, solid.mesh.faces)


def test_against_vtk():
    # VTK's implicit distance through pyvista, on a body with sharp and reflex edges.
    pyvista = pytest.importorskip("pyvista")
    body = (box([20, 30, 10]) - box([8, 8, 20], center_mm=[6, 3, 0])) + sphere(7.0, center_mm=[-9, 0, 6])
    mesh = body.mesh
    faces = np.column_stack([np.full(len(mesh.faces), 3), mesh.faces])
    surface = pyvista.PolyData(mesh.vertices, faces.ravel())
    points = np.random.default_rng(2).uniform(-22, 22, (1500, 3))
    cloud = pyvista.PolyData(points).compute_implicit_distance(surface)
    np.testing.assert_allclose(field_of(body).at(points).distance_mm, cloud["implicit_distance"], atol=1e-4)


def test_box_in_closed_form():
    points = np.random.default_rng(1).uniform(-9, 9, (500, 3))
    beyond = np.abs(points) - [2.0, 3.0, 4.0]
    exact = np.linalg.norm(np.maximum(beyond, 0.0), axis=1) + np.minimum(beyond.max(axis=1), 0.0)
    found = field_of(box([4, 6, 8])).at(points)
    np.testing.assert_allclose(found.distance_mm, exact, atol=1e-9)
    assert found.known.all()


def test_normals_of_a_ball_point_outward():
    points = np.random.default_rng(0).normal(size=(200, 3)) * 20.0
    found = field_of(sphere(10.0, segments=128)).at(points)
    outward = points / np.linalg.norm(points, axis=1)[:, None]
    assert np.einsum("ij,ij->i", found.normals, outward).min() > 0.999


def test_reach_and_border():
    square = np.array([[0.0, 0, 0], [4, 0, 0], [4, 4, 0], [0, 4, 0]])
    field = DistanceField(square, np.array([[0, 1, 2], [0, 2, 3]]))
    found = field.at(np.array([[1.0, 2, 3], [1, 2, -3], [9, 2, 1], [2, 2, 1], [5, 5, 0.1]]), reach_mm=6.0)
    assert found.distance_mm[:2].tolist() == [3.0, -3.0]
    assert found.on_border.tolist() == [False, False, True, False, True]
    beyond = field.at(np.array([[2.0, 2, 40]]), reach_mm=6.0)
    assert beyond.distance_mm.tolist() == [np.inf]
    assert not beyond.known.any()


def test_near_takes_vertices_beyond_reach():
    ball = sphere(10.0, segments=64)
    points = np.array([[0.0, 0, 30], [0, 0, 0.5], [0, 0, 11]])
    rough = field_of(ball).near(points, reach_mm=3.0)
    exact = field_of(ball).at(points)
    np.testing.assert_allclose(rough.distance_mm, exact.distance_mm, atol=0.1)
    assert rough.distance_mm[2] == exact.distance_mm[2]
    assert np.isfinite(rough.points).all()


def test_barycentric_of_a_degenerate_triangle_is_finite():
    share = barycentric(np.zeros((1, 3)), np.zeros((1, 3, 3)))
    assert np.isfinite(share).all()
    assert share.sum() == pytest.approx(1.0)


def test_rough_distances_are_exact_where_they_may_matter():
    # Two balls of known offset: everywhere 1 mm apart, closed form; where the tangent plane suffices, its
    # error stays far below the least distance asked for.
    inner, outer = sphere(30.0, segments=120).mesh, sphere(31.0, segments=90).mesh
    field = DistanceField(inner.vertices, inner.faces)
    normals = outer.vertices / np.linalg.norm(outer.vertices, axis=1)[:, None]
    exact = field.at(outer.vertices).distance_mm
    rough = field.roughly(outer.vertices, normals, least_mm=0.5, reach_mm=4.0)
    np.testing.assert_array_equal(rough, exact)
    lying = field.roughly(outer.vertices * (30.02 / 31.0), normals, least_mm=0.5, reach_mm=4.0)
    assert np.abs(lying - field.at(outer.vertices * (30.02 / 31.0)).distance_mm).max() < 0.05
    far = field.roughly(outer.vertices * 2.0, normals, least_mm=0.5, reach_mm=4.0)
    np.testing.assert_allclose(far, 32.0, atol=0.1)


def test_rough_distances_over_a_border_are_unknown():
    corner = np.array([[0.0, 0, 0], [4, 0, 0], [0, 4, 0]])
    field = DistanceField(corner, np.array([[0, 1, 2]]))
    up = np.array([[0.0, 0.0, 1.0]])
    assert np.isnan(field.roughly(np.array([[-1.0, -1.0, 1.0]]), up, least_mm=0.5, reach_mm=4.0)).all()
    assert field.roughly(np.array([[1.0, 1.0, 1.0]]), up, least_mm=0.5, reach_mm=4.0).tolist() == [1.0]

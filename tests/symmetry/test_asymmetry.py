"""The asymmetry map against closed forms and VTK's implicit distance."""

import numpy as np
import pytest

from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.plane import Plane
from mirrorprep.solid.primitives import box, sphere
from mirrorprep.symmetry.asymmetry import asymmetry_map


def test_a_symmetric_body_has_none(blob, x_plane):
    assert np.abs(asymmetry_map(blob, x_plane)).max() < 1e-9


def test_a_shifted_sphere_against_the_closed_form(x_plane):
    # A point p of the sphere about (e, 0, 0) lies |p + e x| − R from the image about (−e, 0, 0).
    solid = sphere(40.0, center_mm=(0.5, 0, 0), segments=256)
    vertices = solid.mesh.vertices
    expected = np.linalg.norm(vertices - [-0.5, 0, 0], axis=1) - 40.0
    np.testing.assert_allclose(asymmetry_map(solid, x_plane), expected, atol=0.02)


def test_against_another_library(phantom):
    pyvista = pytest.importorskip("pyvista")
    rng = np.random.default_rng(0)
    plane = Plane(
        normal=phantom.true_plane.normal + 0.01 * rng.normal(size=3),
        offset_mm=phantom.true_plane.offset_mm + 1.0,
    )
    mesh = phantom.scan
    found = asymmetry_map(mesh, plane)
    surface = pyvista.PolyData.from_regular_faces(mesh.vertices, mesh.faces)
    chosen = rng.choice(np.flatnonzero(np.isfinite(found)), 1500, replace=False)
    image = mesh.vertices[chosen] - 2 * np.outer(plane.distance_mm(mesh.vertices[chosen]), plane.normal)
    probe = pyvista.PolyData(image).compute_implicit_distance(surface)
    np.testing.assert_allclose(found[chosen], probe["implicit_distance"], atol=2e-3)


def test_unknown_where_the_other_side_is_open(blob, x_plane):
    centers = blob.triangles.mean(axis=1)
    hole = np.linalg.norm(centers - centers[centers[:, 0].argmax()], axis=1) < 20
    scan = blob.with_geometry(blob.vertices, blob.faces[~hole])
    found = asymmetry_map(scan, x_plane)
    opposite = np.linalg.norm(scan.vertices * [-1, 1, 1] - centers[centers[:, 0].argmax()], axis=1) < 15
    assert np.isnan(found[opposite]).all()
    away = np.linalg.norm(scan.vertices * [-1, 1, 1] - centers[centers[:, 0].argmax()], axis=1) > 30
    used = np.isin(np.arange(len(scan.vertices)), scan.faces)
    assert np.abs(found[away & used]).max() < 1e-9


def test_beyond_reach_is_unknown():
    far = Plane(normal=np.array([1.0, 0, 0]), offset_mm=50.0)
    assert np.isnan(asymmetry_map(box([2, 2, 2]), far)).all()


def test_a_single_open_triangle(x_plane):
    scan = ScanMesh(vertices=np.array([[-3.0, 0, 0], [3, 0, 0], [0, 5, 0]]), faces=np.array([[0, 1, 2]]))
    assert asymmetry_map(scan, x_plane).shape == (3,)


@pytest.mark.parametrize("side", [-1.0, 1.0])
def test_the_sign_holds_at_sharp_edges(x_plane, side):
    # The image of the right tip lies off the left one, behind the plane of one of its two faces; both are
    # equally near. By the closed form it lies outside by the distance of the tips.
    outline = np.array([[-1.0, 0.0], [0.0, -0.4], [1.05, 0.1 * side], [0.0, 0.4]])
    vertices = np.concatenate([np.column_stack([outline, np.full(4, z)]) for z in (-2.0, 2.0)])
    sides = [[k, (k + 1) % 4, (k + 1) % 4 + 4] for k in range(4)] + [
        [k, (k + 1) % 4 + 4, k + 4] for k in range(4)
    ]
    faces = np.array([[0, 2, 1], [0, 3, 2], [4, 5, 6], [4, 6, 7], *sides])
    found = asymmetry_map(ScanMesh(vertices=vertices, faces=faces), x_plane)
    np.testing.assert_allclose(found[[2, 6]], np.hypot(0.05, 0.1))

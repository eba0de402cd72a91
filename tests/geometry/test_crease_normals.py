"""Normals over facets: smooth on round bodies, broken at creases."""

import numpy as np
import pytest

from mirrorprep.geometry.crease_normals import crease_normals
from mirrorprep.geometry.normals import doubled_areas, unit
from mirrorprep.geometry.surface_points import surface_samples
from mirrorprep.solid.primitives import box, frustum, sphere


def test_normals_of_a_ball_point_from_its_centre():
    mesh = sphere(10.0, segments=64).mesh
    points, face, shares = surface_samples(mesh.vertices, mesh.faces, count=3000, seed=1)
    exact = unit(points)
    smooth = crease_normals(mesh.vertices, mesh.faces, face, shares)
    flat = unit(doubled_areas(mesh.vertices, mesh.faces))[face]
    error = [np.degrees(np.arccos(np.clip((n * exact).sum(axis=1), -1, 1))).mean() for n in (smooth, flat)]
    assert error[0] < 0.3 * error[1]


@pytest.mark.parametrize(
    "body", [box([10, 20, 30]), frustum([0, 0, 0], [0, 0, 9], start_radius_mm=4, stop_radius_mm=4)]
)
def test_creases_stay(body):
    mesh = body.mesh
    _, face, shares = surface_samples(mesh.vertices, mesh.faces, count=2000, seed=2)
    normals = crease_normals(mesh.vertices, mesh.faces, face, shares)
    across = np.abs(normals[:, 2])
    assert ((across < 1e-9) | (across > 1.0 - 1e-9)).all()
    np.testing.assert_allclose(np.linalg.norm(normals, axis=1), 1.0)


def test_without_a_crease_angle_all_faces_count():
    mesh = box([2, 2, 2]).mesh
    corner = np.tile([1.0, 0.0, 0.0], (12, 1))
    normals = crease_normals(mesh.vertices, mesh.faces, np.arange(12), corner, crease_deg=180.0)
    toward = unit(mesh.vertices[mesh.faces[:, 0]])
    assert (np.einsum("ij,ij->i", normals, toward) > 0.9).all()

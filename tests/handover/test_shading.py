"""Normals for drawing."""

import numpy as np

from mirrorprep.handover.shading import corner_normals
from mirrorprep.solid.primitives import box, sphere


def test_a_ball_is_smooth():
    ball = sphere(10, segments=64).mesh
    normals = corner_normals(ball.vertices, ball.faces)
    radial = ball.vertices[ball.faces.ravel()] / 10
    assert np.einsum("ij,ij->i", normals, radial).min() > 0.999


def test_a_box_keeps_its_edges():
    cube = box([1, 2, 3]).mesh
    normals = corner_normals(cube.vertices, cube.faces).reshape(-1, 3, 3)
    a, b, c = (cube.vertices[cube.faces[:, i]] for i in range(3))
    flat = np.cross(b - a, c - a)
    flat = flat / np.linalg.norm(flat, axis=1, keepdims=True)
    np.testing.assert_allclose(normals, np.repeat(flat[:, None], 3, axis=1), atol=1e-12)


def test_a_wide_crease_angle_smooths_the_edges_away():
    cube = box([1, 1, 1]).mesh
    normals = corner_normals(cube.vertices, cube.faces, crease_deg=100.0)
    assert np.abs(normals).max() < 0.99


def test_a_face_without_area_has_no_normal():
    normals = corner_normals(np.zeros((3, 3)), np.array([[0, 1, 2]]))
    assert (normals == 0).all()

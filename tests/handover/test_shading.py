"""Normals and light for drawing."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mirrorprep.geometry.normals import unit
from mirrorprep.handover.shading import lit, shading
from mirrorprep.solid.primitives import box, frustum, sphere

AXES = np.eye(3)  # the eye looks down z


def corner_normals(mesh, **options):
    shaded = shading(mesh.vertices, mesh.faces, **options)
    np.testing.assert_array_equal(shaded.source[shaded.faces], mesh.faces)
    return shaded.normals[shaded.faces]


def flat_normals(mesh):
    a, b, c = (mesh.vertices[mesh.faces[:, i]] for i in range(3))
    return np.repeat(unit(np.cross(b - a, c - a))[:, None], 3, axis=1)


def test_a_ball_is_smooth_and_keeps_its_vertices():
    ball = sphere(10, segments=64).mesh
    radial = ball.vertices[ball.faces] / 10
    assert np.einsum("ijk,ijk->ij", corner_normals(ball), radial).min() > 0.999
    assert len(shading(ball.vertices, ball.faces).source) == len(ball.vertices)


def test_a_box_keeps_its_edges():
    cube = box([1, 2, 3]).mesh
    np.testing.assert_allclose(corner_normals(cube), flat_normals(cube), atol=1e-12)


def test_a_cylinder_is_smooth_around_and_sharp_at_its_rims():
    pin = frustum([0, 0, 0], [0, 0, 5], start_radius_mm=2, stop_radius_mm=2).mesh
    normals = corner_normals(pin)
    ends = np.abs(flat_normals(pin)[:, :, 2]) > 0.5
    np.testing.assert_allclose(np.abs(normals[ends][:, 2]), 1, atol=1e-9)
    around = pin.vertices[pin.faces][~ends] * [1, 1, 0]
    assert np.einsum("ij,ij->i", normals[~ends], unit(around)).min() > 0.999


def test_a_wide_crease_angle_smooths_the_edges_away():
    cube = box([1, 1, 1]).mesh
    assert np.abs(corner_normals(cube, crease_deg=100.0)).max() < 0.99


def test_a_face_without_area_has_no_normal():
    shaded = shading(np.zeros((3, 3)), np.array([[0, 1, 2]]))
    assert (shaded.normals == 0).all()


@settings(deadline=None, max_examples=25, derandomize=True)
@given(st.integers(0, 10_000))
def test_corners_that_share_a_vertex_agree_with_the_pairs_of_their_faces(seed):
    # the plain rule: the area-weighted mean over the faces at the vertex that bend less than the crease
    rng = np.random.default_rng(seed)
    ball = sphere(10, segments=12).mesh
    vertices = ball.vertices + rng.normal(0, 1.0, ball.vertices.shape)
    shaded = shading(vertices, ball.faces)
    a, b, c = (vertices[ball.faces[:, i]] for i in range(3))
    weighted = np.cross(b - a, c - a)
    flat = unit(weighted)
    for face, place in rng.integers(0, [len(ball.faces), 3], size=(20, 2)):
        around = np.flatnonzero((ball.faces == ball.faces[face, place]).any(axis=1))
        near = around[flat[around] @ flat[face] > np.cos(np.radians(40))]
        wanted = unit(weighted[np.union1d(near, [face])].sum(axis=0))
        np.testing.assert_allclose(shaded.normals[shaded.faces[face, place]], wanted, atol=1e-9)


def test_what_faces_the_key_light_is_brightest():
    toward = unit(np.array([-0.7, 0.9, 1.0]))
    away = unit(np.array([0.9, -0.9, 0.4]))
    bright, dark = (
        lit(_facing(normal), np.full(3, 0.5), AXES)[0, 0].astype(int) for normal in (toward, away)
    )
    assert bright > dark + 40


def _facing(normal):
    across = unit(np.cross(normal, [0.3, 0.2, 0.9]))
    return shading(np.array([np.zeros(3), across, np.cross(normal, across)]), np.array([[0, 1, 2]]))


def test_light_on_a_flat_face_is_the_formula():
    # Phong (1975): ambient + diffuse · Σ strength · cos; a face towards the eye, no highlight beyond 0.06
    shown = lit(_facing(np.array([0.0, 0, 1])), np.full(3, 0.4), AXES)[0, 0] / 255
    lights = (((-0.7, 0.9, 1.0), 0.62), ((1.0, 0.15, 0.6), 0.22), ((0.0, -0.2, 1.0), 0.30))
    diffuse = sum(s * unit(np.array(p))[2] for p, s in lights)
    assert shown == pytest.approx(0.4 * (0.30 + 0.85 * diffuse), abs=0.06)


def test_the_inside_of_an_open_surface_is_lit_from_behind():
    front, back = _facing(np.array([0.2, 0.1, 0.97])), _facing(np.array([-0.2, -0.1, -0.97]))
    seen, turned = (int(lit(shaded, np.full(3, 0.5), AXES)[0, 0]) for shaded in (front, back))
    assert abs(seen - turned) <= 1


def test_colours_per_face_get_corners_of_their_own():
    cube = box([1, 1, 1]).mesh
    shaded = shading(cube.vertices, cube.faces).per_corner()
    assert len(shaded.source) == 3 * len(cube.faces)
    np.testing.assert_array_equal(shaded.source[shaded.faces], cube.faces)

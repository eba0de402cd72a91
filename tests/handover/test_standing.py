"""How a scan stands."""

import numpy as np
import pytest

from mirrorprep.handover.standing import relief, standing_view
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.plane import Plane
from mirrorprep.solid.primitives import box, frustum, sphere


def bust():
    """A ball on a neck with a flat base, with four bumps towards −y."""
    body = sphere(20, segments=96) + frustum([0, 0, -40], [0, 0, 0], start_radius_mm=10, stop_radius_mm=10)
    for x in (-7, 7):
        for z in (-5, 7):
            body = body + sphere(4, center_mm=[x, -18, z], segments=48)
    return body.mesh


def turned(mesh, seed=4):
    matrix = np.linalg.qr(np.random.default_rng(seed).normal(size=(3, 3)))[0]
    matrix[:, 0] *= np.linalg.det(matrix)
    return mesh.with_geometry(mesh.vertices @ matrix.T), matrix


def test_the_base_is_down_and_the_bumps_in_front_however_it_was_scanned():
    for mesh, matrix in ((bust(), np.eye(3)), turned(bust())):
        view = standing_view(mesh, Plane(normal=matrix[:, 0], offset_mm=0.0))
        np.testing.assert_allclose(view.up, matrix[:, 2], atol=1e-6)
        np.testing.assert_allclose(view.toward, -matrix[:, 1], atol=1e-6)


def test_without_a_plane_the_front_is_found_within_a_step():
    mesh, matrix = turned(bust(), seed=8)
    view = standing_view(mesh)
    np.testing.assert_allclose(view.up, matrix[:, 2], atol=1e-6)
    assert np.dot(view.toward, -matrix[:, 1]) > np.cos(np.radians(40))


def test_an_opening_is_down():
    ball = sphere(20, segments=96).mesh
    opened = ScanMesh(vertices=ball.vertices, faces=ball.faces[ball.triangles[:, :, 0].min(axis=1) > -12])
    np.testing.assert_allclose(standing_view(opened).up, [1, 0, 0], atol=0.02)


def test_with_neither_z_is_up():
    assert standing_view(sphere(5, segments=64).mesh).up == (0.0, 0.0, 1.0)


def test_a_level_mirror_plane_still_gives_a_view():
    view = standing_view(sphere(5).mesh, Plane(normal=[0, 0, 1], offset_mm=0.0))
    assert abs(np.dot(view.toward, [0, 0, 1])) < 1e-9


def test_relief_of_a_ball():
    # both principal curvatures are 1/r, so |κ1| + |κ2| = 2/r; the edges of a mesh count each bend once
    found = relief(sphere(5, segments=256).mesh, np.array([[0.0, 0, 1], [1, 0, 0]]))
    np.testing.assert_allclose(found, 2 / 5, rtol=0.3)
    assert relief(box([1, 1, 1]).mesh, np.array([[0.0, 0, 1]]))[0] == pytest.approx(0)
    assert relief(ScanMesh(vertices=np.eye(3), faces=np.array([[0, 1, 2]])), -np.ones((1, 3)))[0] == 0.0

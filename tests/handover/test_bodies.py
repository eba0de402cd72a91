"""Bodies from the nouns."""

import numpy as np
import pytest

from mirrorprep.handover.bodies import (
    colored_body,
    cut_lines,
    plane_rim,
    plane_sheet,
    thinned,
    turned,
)
from mirrorprep.handover.panel import View
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.plane import Plane
from mirrorprep.solid.primitives import box, sphere


def test_thinning_keeps_the_shape_and_names_the_old_vertices():
    ball = sphere(10, segments=300).mesh
    small, kept = thinned(ball, most=5000)
    assert 1000 < len(small.faces) <= 5000
    assert len(kept) == len(small.vertices)
    np.testing.assert_allclose(np.linalg.norm(small.vertices, axis=1), 10, atol=0.2)
    assert np.linalg.norm(ball.vertices[kept] - small.vertices, axis=1).max() < 1.5


def test_a_small_mesh_is_left_alone():
    cube = box([1, 1, 1]).mesh
    same, kept = thinned(cube)
    assert same is cube
    assert kept.tolist() == list(range(8))


def test_thinning_keeps_colours():
    ball = sphere(10, segments=100).mesh
    colors = np.tile(np.array([[1, 2, 3, 255]], dtype=np.uint8), (len(ball.vertices), 1))
    small, _ = thinned(ScanMesh(vertices=ball.vertices, faces=ball.faces, colors=colors), most=500)
    assert (colored_body(small, "#ffffff").colors == [1, 2, 3]).all()


def test_cut_lines_lie_on_the_plane_and_close_the_circle():
    plane = Plane(normal=[0, 0, 1], offset_mm=6.0)
    segments = cut_lines(sphere(10, segments=256).mesh, plane)
    np.testing.assert_allclose(plane.distance_mm(segments.reshape(-1, 3)), 0, atol=1e-9)
    length = np.linalg.norm(segments[:, 1] - segments[:, 0], axis=1).sum()
    assert length == pytest.approx(2 * np.pi * 8, rel=1e-3)  # the circle at height 6 has radius 8


def test_no_cut_no_lines():
    assert cut_lines(box([1, 1, 1]).mesh, Plane(normal=[0, 0, 1], offset_mm=6.0)).shape == (0, 2, 3)


def test_the_rim_of_a_plane_lies_in_it_stands_upright_and_covers_the_points():
    plane = Plane(normal=[1, 1, 0], offset_mm=2.0)
    points = box([10, 20, 30]).mesh.vertices
    rim = plane_rim(plane, points)
    np.testing.assert_allclose(plane.distance_mm(rim), 0, atol=1e-9)
    assert (rim[0] == rim[-1]).all()
    np.testing.assert_allclose((rim[2] - rim[1]) / np.linalg.norm(rim[2] - rim[1]), [0, 0, 1], atol=1e-12)
    assert np.ptp(rim[:, 2]) > 30
    assert plane_sheet(rim).opacity < 1
    level = plane_rim(Plane(normal=[0, 0, 1], offset_mm=1.0), points)
    np.testing.assert_allclose(level[:, 2], 1.0)


def test_turning_goes_right_and_up():
    view = turned(View(toward=(0, -1, 0)), right_deg=90)
    np.testing.assert_allclose(view.toward, (1, 0, 0), atol=1e-12)
    np.testing.assert_allclose(turned(View(toward=(0, -1, 0)), up_deg=30).toward[2], 0.5)

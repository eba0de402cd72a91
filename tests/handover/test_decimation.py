"""Lighter copies."""

import numpy as np
import pytest

from mirrorprep.handover.decimation import decimated, view_copies
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.primitives import box, sphere


def test_a_copy_is_light_and_close():
    ball = sphere(50, segments=256).mesh
    copy = decimated(ball, most=4000)
    assert 3000 < len(copy.faces) <= 4000
    reach = np.linalg.norm(copy.vertices, axis=1)
    assert np.abs(reach - 50).max() < 0.2
    assert np.linalg.norm(ball.vertices[copy.kept] - copy.vertices, axis=1).max() < 2.0


def test_a_light_mesh_is_kept_as_it_is():
    cube = box([1, 1, 1]).mesh
    copy = decimated(cube, most=12)
    assert copy.faces is cube.faces


def test_light_meshes_keep_theirs_and_the_heavy_share_the_rest():
    meshes = [sphere(50, segments=128).mesh, box([1, 1, 1]).mesh, sphere(20, segments=96).mesh]
    copies = view_copies(meshes, most=6000)
    counts = [len(copy.faces) for copy in copies]
    assert counts[1] == 12
    assert sum(counts) <= 6000
    assert counts[0] > counts[2] > 1000


def test_a_soup_of_single_triangles_is_thinned_too():
    rng = np.random.default_rng(3)
    corners = rng.random((5000, 1, 3)) * 100 + rng.random((5000, 3, 3))
    soup = ScanMesh(vertices=corners.reshape(-1, 3), faces=np.arange(15000).reshape(-1, 3))
    assert len(decimated(soup, most=500).faces) <= 500


@pytest.mark.parametrize("most", [4, 100])
def test_same_input_same_copy(most):
    ball = sphere(5, segments=64).mesh
    first, second = (decimated(ball, most=most) for _ in range(2))
    np.testing.assert_array_equal(first.faces, second.faces)
    np.testing.assert_array_equal(first.vertices, second.vertices)

"""Exact closest points on meshes against brute force, a closed form and a general library."""

import numpy as np
import pytest

from mirrorprep.geometry.closest_point import closest_on_triangles
from mirrorprep.geometry.surface_index import SurfaceIndex


def random_soup(seed, count=300):
    rng = np.random.default_rng(seed)
    size = np.exp(rng.normal(scale=1.2, size=(count, 1, 1)))
    return (rng.normal(size=(count, 1, 3)) * 4 + rng.normal(size=(count, 3, 3)) * size).reshape(-1, 3)


@pytest.mark.parametrize("seed", [0, 1])
def test_against_brute_force(seed):
    # Every triangle tried for every point; sizes span two decades, so that long pieces are met.
    vertices = random_soup(seed)
    faces = np.arange(len(vertices)).reshape(-1, 3)
    points = np.random.default_rng(seed + 9).normal(size=(200, 3)) * 8
    foot = closest_on_triangles(points[:, None], vertices[faces][None])
    distance = np.linalg.norm(foot - points[:, None], axis=2)
    found = SurfaceIndex(vertices, faces).closest(points)
    np.testing.assert_allclose(found.distance_mm, distance.min(axis=1), rtol=0, atol=1e-12)
    np.testing.assert_allclose(np.linalg.norm(found.points - points, axis=1), found.distance_mm, atol=1e-12)


@pytest.mark.parametrize("thickness", [1e-13, 1e-5, 0.0])
@pytest.mark.parametrize("spread", [0.0, 5.0])
def test_needles_against_brute_force(thickness, spread):
    # The normals of such faces are rounding errors; they must not decide what is near.
    rng = np.random.default_rng(5)
    start, along = rng.normal(size=(400, 1, 3)) * spread, rng.normal(size=(400, 1, 3)) * 2
    share = np.array([0.0, 0.37, 1.0])[None, :, None]
    vertices = (start + share * along + rng.normal(size=(400, 3, 3)) * thickness).reshape(-1, 3)
    faces = np.arange(len(vertices)).reshape(-1, 3)
    points = rng.normal(size=(300, 3)) * 6
    foot = closest_on_triangles(points[:, None], vertices[faces][None])
    distance = np.linalg.norm(foot - points[:, None], axis=2)
    found = SurfaceIndex(vertices, faces).closest(points)
    np.testing.assert_allclose(found.distance_mm, distance.min(axis=1), rtol=0, atol=1e-9)


def test_against_a_general_library():
    # scikit-free check: VTK's own closest-point search through pyvista, on a published animal mesh.
    pyvista = pytest.importorskip("pyvista")
    from pathlib import Path

    surface = pyvista.read(Path(pyvista.__file__).parent / "examples" / "airplane.ply").triangulate()
    vertices, faces = np.array(surface.points, float), surface.faces.reshape(-1, 4)[:, 1:]
    points = np.random.default_rng(3).normal(size=(300, 3)) * 300 + vertices.mean(axis=0)
    foot = surface.find_closest_cell(points, return_closest_point=True)[1]
    found = SurfaceIndex(vertices, faces.astype(np.int64)).closest(points)
    other = np.linalg.norm(foot - points, axis=1)
    np.testing.assert_allclose(found.distance_mm, other, rtol=1e-4, atol=1e-3)


def test_reach():
    corner = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0]])
    found = SurfaceIndex(corner, np.array([[0, 1, 2]])).closest(
        np.array([[0, 0, 2.0], [0, 0, 0.5]]), reach_mm=1
    )
    assert found.face.tolist() == [-1, 0]
    assert np.isnan(found.points[0]).all()
    assert found.distance_mm.tolist() == [np.inf, 0.5]


def test_no_points():
    corner = np.eye(3)
    found = SurfaceIndex(corner, np.array([[0, 1, 2]])).closest(np.zeros((0, 3)))
    assert found.points.shape == (0, 3)
    assert found.face.shape == found.distance_mm.shape == (0,)

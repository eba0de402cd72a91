"""Ways along a surface against closed forms on sphere, plane and cylinder."""

import numpy as np
import pytest

from mirrorprep.geometry.geodesic import distance_along, edge_graph, geodesic_path, smoothed, travel_graph
from mirrorprep.geometry.surface_index import SurfaceIndex
from mirrorprep.solid.primitives import frustum, sphere


@pytest.mark.parametrize("angle", [0.3, 0.8, 1.4])
def test_path_on_a_ball_is_a_great_circle(angle):
    # Great-circle distance R·angle; the mesh is inscribed, so the path is a little shorter.
    mesh = sphere(20.0, segments=200).mesh
    index = SurfaceIndex(mesh.vertices, mesh.faces)
    start = np.array([20.0, 0, 0])
    stop = 20.0 * np.array([np.cos(angle), np.sin(angle) * 0.6, np.sin(angle) * 0.8])
    path = geodesic_path(mesh.vertices, mesh.faces, np.stack([start, stop]), index=index)
    length = np.linalg.norm(np.diff(path, axis=0), axis=1).sum()
    assert length == pytest.approx(20.0 * angle, rel=2e-3)
    normal = np.cross(start, stop) / np.linalg.norm(np.cross(start, stop))
    assert np.abs(path @ normal).max() < 2e-3 * 20.0 * angle
    assert index.closest(path).distance_mm.max() < 1e-9


def test_path_around_a_cylinder_is_a_helix():
    # Unrolled, the shortest way is straight: √((R·angle)² + h²).
    mesh = frustum([0, 0, -30], [0, 0, 30], start_radius_mm=10, stop_radius_mm=10, segments=180).mesh
    index = SurfaceIndex(mesh.vertices, mesh.faces)
    start, stop = np.array([10.0, 0, -10]), np.array([-10.0 * np.cos(1.0), 10.0 * np.sin(1.0), 12.0])
    path = geodesic_path(mesh.vertices, mesh.faces, np.stack([start, stop]), index=index)
    length = np.linalg.norm(np.diff(path, axis=0), axis=1).sum()
    assert length == pytest.approx(np.hypot(10.0 * (np.pi - 1.0), 22.0), rel=5e-3)


def test_no_path_between_two_pieces():
    mesh = (sphere(3.0, segments=16) + sphere(3.0, center_mm=[20, 0, 0], segments=16)).mesh
    index = SurfaceIndex(mesh.vertices, mesh.faces)
    start, stop = np.array([-3.0, 0, 0]), np.array([23.0, 0, 0])
    assert len(geodesic_path(mesh.vertices, mesh.faces, np.stack([start, stop]), index=index)) == 0


def test_distance_along_exceeds_the_geodesic_by_some_percent():
    mesh = sphere(10.0, segments=96).mesh
    pole = int(mesh.vertices[:, 2].argmax())
    far = distance_along(travel_graph(mesh.vertices, mesh.faces), np.array([pole]))
    exact = 10.0 * np.arccos(np.clip(mesh.vertices[:, 2] / 10.0, -1, 1))
    ratio = far[exact > 3.0] / exact[exact > 3.0]
    assert ratio.min() > 0.99
    assert ratio.max() < 1.12
    assert ratio.mean() < 1.04


def test_distance_along_limits_and_without_sources():
    mesh = sphere(10.0, segments=16).mesh
    graph = edge_graph(mesh.vertices, mesh.faces)
    assert np.isinf(distance_along(graph, np.array([0]), limit_mm=5.0)).any()
    assert np.isinf(distance_along(graph, np.array([], dtype=int))).all()


def test_smoothing_keeps_constants_mean_and_range():
    mesh = sphere(10.0, segments=48).mesh
    same = smoothed(mesh.vertices, mesh.faces, np.full(len(mesh.vertices), 3.0), radius_mm=2.0)
    np.testing.assert_allclose(same, 3.0, atol=1e-9)
    height = np.sign(mesh.vertices[:, 2])
    soft = smoothed(mesh.vertices, mesh.faces, height, radius_mm=2.0)
    assert soft.min() >= -1.0 - 1e-9
    assert soft.max() <= 1.0 + 1e-9
    assert np.abs(soft[np.abs(mesh.vertices[:, 2]) < 0.5]).max() < 0.5


def test_smoothing_damps_a_harmonic_as_the_heat_equation_does():
    # On a sphere the height is a harmonic with eigenvalue 2/R²; an implicit step of length r²/2 scales it
    # by 1 / (1 + r²/R²).
    mesh = sphere(10.0, segments=160).mesh
    soft = smoothed(mesh.vertices, mesh.faces, mesh.vertices[:, 2], radius_mm=5.0)
    scale = (soft @ mesh.vertices[:, 2]) / (mesh.vertices[:, 2] @ mesh.vertices[:, 2])
    assert scale == pytest.approx(1.0 / 1.25, rel=5e-3)

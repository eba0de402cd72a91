"""Sampling of scans: scale, smoothing, noise."""

import numpy as np
import pytest

from mirrorprep.errors import GeometryError
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.primitives import box, sphere
from mirrorprep.symmetry.cloud import sample


def test_units_are_the_diagonal_about_the_centre():
    mesh = box([30, 40, 120], center_mm=[500, -70, 9]).mesh
    cloud = sample(mesh, seed=0)
    assert cloud.scale_mm == pytest.approx(130, rel=2e-3)
    np.testing.assert_allclose(cloud.center_mm, [500, -70, 9], atol=0.5)
    size = np.ptp(cloud.points, axis=0)
    np.testing.assert_allclose(size, np.array([30, 40, 120]) / 130, atol=2e-3)


def test_same_seed_same_bytes_other_seed_other_points(blob):
    first, again, other = (sample(blob, seed=s) for s in (3, 3, 4))
    assert first.points.tobytes() == again.points.tobytes()
    assert first.smooth_normals.tobytes() == again.smooth_normals.tobytes()
    assert first.points.tobytes() != other.points.tobytes()


def test_smooth_normals_of_a_sphere_point_outward():
    cloud = sample(sphere(20.0, segments=128).mesh, seed=0)
    radial = cloud.smooth_points / np.linalg.norm(cloud.smooth_points, axis=1)[:, None]
    assert np.einsum("ij,ij->i", radial, cloud.smooth_normals).min() > 0.999
    assert not cloud.noisy


def test_noise_is_measured_and_normals_survive_it():
    # Vertices finer than the noise: single faces point anywhere, fitted planes do not.
    mesh = sphere(20.0, segments=400).mesh
    rough = mesh.with_geometry(
        mesh.vertices + np.random.default_rng(0).normal(scale=0.3, size=mesh.vertices.shape)
    )
    cloud = sample(rough, seed=0)
    assert cloud.noisy
    radial = cloud.smooth_points / np.linalg.norm(cloud.smooth_points, axis=1)[:, None]
    raw = np.median(np.einsum("ij,ij->i", radial, cloud.normals))
    smooth = np.median(np.einsum("ij,ij->i", radial, cloud.smooth_normals))
    assert raw < 0.9 < 0.98 < smooth


def test_nothing_to_sample():
    flat = ScanMesh(vertices=np.zeros((3, 3)), faces=np.array([[0, 1, 2]]))
    with pytest.raises(GeometryError, match="No surface area"):
        sample(flat, seed=0)

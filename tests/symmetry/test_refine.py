"""Refinement from coarse starts to the limit of the data."""

import numpy as np
import pytest

from mirrorprep.symmetry import lattice
from mirrorprep.symmetry.refine import polished, refined


def tilted(cloud, degrees, shift):
    """The true plane x = 0, turned and moved."""
    angle = np.radians(degrees)
    normals = np.array([[np.cos(angle), np.sin(angle), 0.0], [np.cos(angle), 0.0, -np.sin(angle)]])
    offset = -cloud.center_mm[0] / cloud.scale_mm
    return normals, np.array([offset + shift, offset - shift])


def misses(cloud, normals, offsets):
    sine = np.linalg.norm(normals[:, 1:], axis=1)
    offset = np.sign(normals[:, 0]) * offsets + cloud.center_mm[0] / cloud.scale_mm
    return np.degrees(np.arcsin(sine)), np.abs(offset) * 100


def test_tabled_steps_come_close_from_5_degrees(blob_cloud):
    start = tilted(blob_cloud, 5.0, 0.02)
    angle, offset = misses(blob_cloud, *refined(blob_cloud, lattice.build(blob_cloud), *start, seed=0))
    assert angle.max() < 0.5
    assert offset.max() < 0.2


def test_polish_is_exact_on_a_body_that_is_exactly_symmetric(blob_cloud):
    done = polished(blob_cloud, *tilted(blob_cloud, 0.4, 0.002), points=2000, steps=8, seed=0)
    angle, offset = misses(blob_cloud, done.chart.normals, done.chart.offsets)
    assert angle.max() < 1e-4
    assert offset.max() < 1e-4
    assert (done.mixture.width < 1e-4).all()


def test_stated_deviation_covers_the_error_on_a_noisy_body(blob):
    from mirrorprep.symmetry.cloud import sample

    errors, stated = [], []
    for seed in range(6):
        noise = np.random.default_rng(seed).normal(scale=0.3, size=blob.vertices.shape)
        cloud = sample(blob.with_geometry(blob.vertices + noise), seed=seed)
        done = polished(cloud, *tilted(cloud, 0.2, 0.001), points=5000, steps=6, seed=0)
        errors.append(misses(cloud, done.chart.normals, done.chart.offsets)[0][0])
        stated.append(np.degrees(np.sqrt(done.covariance[0, 0, 0] + done.covariance[0, 1, 1])))
    assert 0.5 < np.sqrt(np.mean(np.square(errors))) / np.median(stated) < 2.5


@pytest.mark.parametrize("points", [500, 2000])
def test_a_missing_part_does_not_pull(blob, points):
    from mirrorprep.symmetry.cloud import sample

    centers = blob.triangles.mean(axis=1)
    near = np.linalg.norm(centers - blob.vertices[blob.vertices[:, 0].argmax()], axis=1) < 30
    cloud = sample(blob.with_geometry(blob.vertices, blob.faces[~near]), seed=0)
    done = polished(cloud, *tilted(cloud, 0.4, 0.002), points=points, steps=8, seed=0)
    angle, offset = misses(cloud, done.chart.normals, done.chart.offsets)
    assert angle.max() < 1e-3
    assert offset.max() < 1e-3

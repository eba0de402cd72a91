"""Counterparts of mirrored samples."""

import numpy as np

from mirrorprep.geometry.reflection import reflect
from mirrorprep.symmetry import lattice, pairing
from mirrorprep.symmetry.cloud import sample
from mirrorprep.symmetry.refine import picked

NORMAL = np.array([1.0, 0, 0])


def true_plane(cloud):
    return NORMAL[None], np.array([-cloud.center_mm[0] / cloud.scale_mm])


def images(cloud, count=300):
    chosen = picked(cloud, count, 0)
    return pairing.Images.of(*pairing.surface(cloud, chosen), *true_plane(cloud))


def test_images_are_reflections(blob_cloud):
    mirrored = images(blob_cloud)
    normal, offset = true_plane(blob_cloud)
    np.testing.assert_allclose(
        mirrored.image[0], reflect(mirrored.points[0], normal[0], offset[0]), atol=1e-15
    )
    turned = reflect(mirrored.normals[0], normal[0], 0.0)
    np.testing.assert_allclose(mirrored.image_normals[0], turned, atol=1e-15)


def test_exact_pairs_of_a_symmetric_body_meet(blob_cloud):
    mirrored = images(blob_cloud)
    found = pairing.close_pairs(blob_cloud, mirrored, pairing.counterparts(blob_cloud, mirrored))
    assert found.usable.mean() > 0.98
    assert np.median(pairing.distances(found)) < 1e-6


def test_tabled_pairs_lie_within_cells_and_face_the_same_way(blob_cloud):
    grid = lattice.build(blob_cloud)
    found = pairing.lattice_pairs(blob_cloud, grid, images(blob_cloud))
    assert np.median(found.distance) < 2 * grid.cell
    assert (found.facing[found.usable] > pairing.GATE).all()


def test_out_of_reach_has_no_counterpart(blob_cloud):
    mirrored = pairing.Images.of(
        *pairing.surface(blob_cloud, picked(blob_cloud, 50, 0)), NORMAL[None], np.array([2.0])
    )
    found = pairing.close_pairs(blob_cloud, mirrored, pairing.counterparts(blob_cloud, mirrored))
    assert not found.usable.any()
    assert np.isinf(pairing.distances(found)).all()


def test_noisy_clouds_pair_smoothed_samples(blob):
    rough = blob.with_geometry(
        blob.vertices + np.random.default_rng(0).normal(scale=3.0, size=blob.vertices.shape)
    )
    cloud = sample(rough, seed=0)
    assert cloud.noisy
    mirrored = images(cloud)
    found = pairing.close_pairs(cloud, mirrored, pairing.counterparts(cloud, mirrored))
    assert np.isin(found.partner[0][found.usable[0]][:, 0], cloud.smooth_points[:, 0]).all()


def test_levers_vanish_on_the_plane(blob_cloud):
    mirrored = images(blob_cloud, 5000)
    lever = pairing.levers(mirrored, *true_plane(blob_cloud))[0]
    height = np.abs(mirrored.points[0] @ NORMAL - true_plane(blob_cloud)[1])
    assert lever[height < 0.003].max() < 0.01
    assert lever[height > 0.15].min() > 0.99

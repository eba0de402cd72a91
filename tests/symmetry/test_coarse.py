"""The exhaustive search: even directions, the score by hand, the true plane among the starts."""

import numpy as np
import pytest

from mirrorprep.symmetry import coarse, lattice
from mirrorprep.symmetry.cloud import sample


def test_directions_are_even():
    # 900 even directions on a hemisphere: spacing √(2π/900) = 4.8°; no place farther than 4.5° from one.
    directions = coarse.hemisphere(900)
    np.testing.assert_allclose(np.linalg.norm(directions, axis=1), 1.0)
    rng = np.random.default_rng(0)
    probe = rng.normal(size=(2000, 3))
    probe /= np.linalg.norm(probe, axis=1)[:, None]
    nearest = np.degrees(np.arccos(np.minimum(np.abs(probe @ directions.T).max(axis=1), 1)))
    assert nearest.max() < 4.5


@pytest.mark.parametrize(
    ("match", "excused", "expected"),
    [
        ([1, 1, 1, 1], [0, 0, 0, 0], 1 / (1 + coarse.KAPPA)),
        ([1, 1, 0, 0], [0, 0, 0, 0], 0.5 / (1 + coarse.KAPPA)),
        ([1, 1, 0, 0], [0, 0, 1, 1], 0.5 / (0.5 + coarse.KAPPA)),
        ([0, 0, 0, 0], [1, 1, 1, 1], 0.0),
    ],
)
def test_unknown_is_no_contradiction(match, excused, expected):
    far = np.full(4, 9.0)
    found = coarse.combined(np.array(match, float), far, np.array(excused, bool))
    assert found == pytest.approx(expected)


def test_points_on_the_plane_do_not_count():
    found = coarse.combined(np.ones(4), np.zeros(4), np.zeros(4, bool))
    assert found == 0.0


@pytest.mark.parametrize("seed", [0, 1])
def test_the_true_plane_is_the_best_start(blob, posed, x_plane, seed):
    mesh, truth = posed(blob, x_plane, seed)
    cloud = sample(mesh, seed=0)
    normals, offsets, scores = coarse.candidates(cloud, lattice.build(cloud), seed=0)
    assert np.degrees(np.arccos(min(abs(normals[0] @ truth.normal), 1))) < 5.0
    place = normals[0] * offsets[0] * cloud.scale_mm + cloud.center_mm
    assert abs(truth.distance_mm(place)) < 0.03 * mesh.diagonal_mm
    assert (np.diff(scores) <= 0).all()
    assert len(normals) == coarse.STARTS

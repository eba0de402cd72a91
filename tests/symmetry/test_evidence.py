"""Evidence in nats against closed forms."""

import numpy as np
import pytest

from mirrorprep.symmetry import evidence, lattice
from mirrorprep.symmetry.evidence import FINEST, Match, weigh
from mirrorprep.symmetry.mixture import LEAST_STRAY, REACH


def matched(residual, *, lever=1.0, excused=False):
    residual = np.atleast_2d(np.asarray(residual, float))
    return Match(
        residual=residual, lever=np.full(residual.shape, lever), excused=np.full(residual.shape, excused)
    )


def test_an_exact_mirror_image():
    # All distances zero: log of the half-normal density of the finest width at 0, relative to 1/reach.
    found = weigh(matched(np.zeros(500)))
    height = (1 - LEAST_STRAY) * np.sqrt(2 / np.pi) * REACH / FINEST + LEAST_STRAY
    assert found.nats[0] == pytest.approx(np.log(height), rel=1e-9)


def test_a_gaussian_asymmetry():
    # Mean log density ratio of a half-normal to the uniform: ½log(2/(πe)) + log(R/τ), less the strays.
    width = 2e-3
    residual = np.abs(np.random.default_rng(0).normal(scale=width, size=40_000))
    found = weigh(matched(residual))
    expected = 0.5 * np.log(2 / (np.pi * np.e)) + np.log(REACH / width)
    assert found.nats[0] == pytest.approx(expected, abs=0.03)
    assert found.width[0] == pytest.approx(width, rel=0.02)


def test_unrelated_surfaces_weigh_nothing():
    found = weigh(matched(np.random.default_rng(0).uniform(0, REACH, size=20_000)))
    assert abs(found.nats[0]) < 0.02


def test_the_unknown_weighs_nothing_and_contradiction_against():
    half = np.where(np.arange(400) % 2, np.inf, 0.0)
    known, unknown = weigh(matched(half)), weigh(matched(half, excused=True))
    assert unknown.nats[0] == pytest.approx(weigh(matched(np.zeros(400))).nats[0] / 2)
    assert known.nats[0] < unknown.nats[0]
    assert unknown.known[0] == 0.5
    assert known.share[0] == pytest.approx(0.5, abs=0.01)


def test_levers_scale():
    assert weigh(matched(np.zeros(99), lever=0.25)).nats[0] == pytest.approx(
        weigh(matched(np.zeros(99))).nats[0] / 4
    )


def test_the_true_plane_of_a_body_outweighs_others(blob_cloud):
    grid = lattice.build(blob_cloud)
    rng = np.random.default_rng(0)
    normals = np.vstack([[1.0, 0, 0], rng.normal(size=(20, 3))])
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    offsets = np.append(-blob_cloud.center_mm[0] / blob_cloud.scale_mm, rng.uniform(-0.1, 0.1, size=20))
    chosen = np.arange(0, len(blob_cloud.points), 40)
    found = weigh(evidence.match(blob_cloud, grid, chosen, normals, offsets))
    assert found.nats[0] > 2.5
    assert found.nats[1:].max() < 0.5

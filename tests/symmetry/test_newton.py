"""Steps of planes against finite differences; stated deviations against simulation."""

import numpy as np
import pytest

from mirrorprep.symmetry.newton import CLUSTER, Chart, covariance, slopes, tangents
from mirrorprep.symmetry.pairing import Images, Pairs, residuals


def random_pairs(rng, normals, offsets, *, count=400, noise=0.0):
    """Pairs that are mirror images about x = 0 up to noise along the normal."""
    points = rng.uniform(-0.4, 0.4, size=(count, 3))
    directions = rng.normal(size=(count, 3))
    directions /= np.linalg.norm(directions, axis=1)[:, None]
    partner = points * [-1, 1, 1] + noise * rng.normal(size=(count, 1)) * directions * [-1, 1, 1]
    return held(points, directions, partner, normals, offsets)


def held(points, directions, partner, normals, offsets):
    images = Images.of(points, directions, normals, offsets)
    shape = images.image.shape
    return Pairs(
        images=images,
        partner=np.broadcast_to(partner, shape),
        partner_normals=np.broadcast_to(directions * [-1, 1, 1], shape),
        usable=np.ones(shape[:2], bool),
    )


def test_tangents_are_a_right_handed_frame():
    normals = np.random.default_rng(0).normal(size=(20, 3))
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    u, v = tangents(normals)
    np.testing.assert_allclose(np.cross(normals, u), v, atol=1e-14)
    np.testing.assert_allclose(np.linalg.norm(u, axis=1), 1.0)


def test_slopes_agree_with_finite_differences():
    rng = np.random.default_rng(1)
    points, directions = rng.uniform(-0.4, 0.4, size=(50, 3)), rng.normal(size=(50, 3))
    directions /= np.linalg.norm(directions, axis=1)[:, None]
    normals, offsets = np.array([[1.0, 0.0, 0.0]]), np.zeros(1)
    partner = points * [-1, 1, 1] + 1e-3 * rng.normal(size=(50, 3))
    at = slopes(held(points, directions, partner, normals, offsets), np.ones((1, 50)), normals, offsets)
    for axis in range(3):
        change = []
        for sign in (1, -1):
            moved = at.chart.moved(sign * 1e-6 * np.eye(3)[axis][None])
            change.append(residuals(held(points, directions, partner, *moved))[0][0])
        numeric = (change[0] - change[1]) / 2e-6
        # The derivative leaves out the turn of the mean normal, which is of the order of the residual.
        np.testing.assert_allclose(at.weighted[0][:, axis], numeric, atol=6e-3)


def test_steps_lead_to_the_true_plane_in_a_few():
    rng = np.random.default_rng(2)
    normals = np.array([[1.0, 0.06, -0.05], [1.0, -0.02, 0.03]])
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    offsets = np.array([0.03, -0.02])
    for _ in range(6):
        found = random_pairs(np.random.default_rng(3), normals, offsets)
        at = slopes(found, np.ones((2, 400)), normals, offsets)
        normals, offsets = at.chart.moved(at.step())
    np.testing.assert_allclose(np.abs(normals), [[1, 0, 0]] * 2, atol=1e-9)
    np.testing.assert_allclose(offsets, 0.0, atol=1e-9)
    assert rng is not None


def test_deviations_against_simulation():
    # Independent noise on every pair: the stated covariance must match the scatter of the solutions.
    normals, offsets = np.array([[1.0, 0, 0]]), np.zeros(1)
    steps, stated = [], []
    for seed in range(300):
        found = random_pairs(np.random.default_rng(seed), normals, offsets, noise=0.002)
        at = slopes(found, np.ones((1, 400)), normals, offsets)
        steps.append(at.step()[0])
        stated.append(covariance(found, at)[0])
    np.testing.assert_allclose(np.diag(np.mean(stated, axis=0)), np.var(steps, axis=0), rtol=0.2)


def test_deviations_see_that_neighbours_go_together():
    # All pairs of a cube of space share one error: the scatter is that of the cubes, not of the pairs.
    normals, offsets = np.array([[1.0, 0, 0]]), np.zeros(1)
    steps, stated, naive = [], [], []
    for seed in range(300):
        rng = np.random.default_rng(seed)
        points, directions = rng.uniform(-0.4, 0.4, size=(4000, 3)), rng.normal(size=(4000, 3))
        directions /= np.linalg.norm(directions, axis=1)[:, None]
        folded = np.floor(np.where(points[:, :1] > 0, points, points * [-1, 1, 1]) / CLUSTER).astype(int)
        label = np.unique(folded, axis=0, return_inverse=True)[1].ravel()
        error = 0.002 * rng.normal(size=label.max() + 1)[label][:, None] * np.sign(directions[:, :1])
        partner = points * [-1, 1, 1] + error * directions * [-1, 1, 1]
        found = held(points, directions, partner, normals, offsets)
        at = slopes(found, np.ones((1, 4000)), normals, offsets)
        steps.append(at.step()[0][2])
        stated.append(np.sqrt(covariance(found, at)[0][2, 2]))
        naive.append(0.002 / np.sqrt(at.chart.information[0, 2, 2] * 4000))
    assert np.median(stated) == pytest.approx(np.std(steps), rel=0.2)
    assert np.median(naive) < 0.7 * np.std(steps)


def test_a_move_and_back_is_the_same_plane():
    chart = Chart(
        normals=np.array([[0.6, 0.8, 0.0]]),
        offsets=np.array([0.1]),
        center=np.array([[0.1, 0.05, 0.3]]),
        information=np.eye(3)[None],
    )
    normals, offsets = chart.moved(np.zeros((1, 3)))
    np.testing.assert_allclose(normals, chart.normals)
    np.testing.assert_allclose(offsets, chart.offsets)
    tilted, level = chart.moved(np.array([[0.1, 0.0, 0.0]]))
    # A tilt turns about the centre: its distance from the plane changes only by the scale of the normal.
    before = chart.normals[0] @ chart.center[0] - chart.offsets[0]
    after = tilted[0] @ chart.center[0] - level[0]
    assert after == pytest.approx(before / np.sqrt(1.01))

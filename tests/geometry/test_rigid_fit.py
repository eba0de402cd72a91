"""Rigid fits against scipy's rotations and Procrustes analysis, on random and on published landmarks."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import procrustes
from scipy.spatial.transform import Rotation

from mirrorprep.geometry.rigid_fit import motion, moved, rigid_fit, turn_deg


def pose(seed):
    rng = np.random.default_rng(seed)
    matrix = np.eye(4)
    matrix[:3, :3], matrix[:3, 3] = Rotation.random(rng=rng).as_matrix(), rng.normal(size=3) * 100.0
    return matrix


@pytest.mark.parametrize("seed", range(4))
def test_against_scipy_align_vectors(seed):
    # scipy.spatial.transform.Rotation.align_vectors: weighted Kabsch on centred points.
    rng = np.random.default_rng(seed)
    source, weight = rng.normal(size=(9, 3)) * 40.0, rng.uniform(0.2, 3.0, 9)
    target = moved(source, pose(seed)) + rng.normal(size=(9, 3)) * 2.0
    fit = rigid_fit(source, target, weights=weight)
    centered = [points - weight @ points / weight.sum() for points in (target, source)]
    rotation, distance = Rotation.align_vectors(*centered, weights=weight)
    np.testing.assert_allclose(fit.matrix[:3, :3], rotation.as_matrix(), atol=1e-9)
    assert fit.rms_mm == pytest.approx(distance / np.sqrt(weight.sum()), rel=1e-9)


@given(st.integers(0, 10_000), st.booleans())
@settings(deadline=None, max_examples=40, derandomize=True)
def test_an_exact_motion_comes_back(seed, mirrored):
    source = np.random.default_rng(seed).normal(size=(5, 3)) * 30.0
    true = pose(seed)
    if mirrored:
        true = true @ np.diag([-1.0, 1.0, 1.0, 1.0])
    fit = rigid_fit(source, moved(source, true), mirrored=mirrored)
    np.testing.assert_allclose(fit.matrix, true, atol=1e-9)
    assert fit.rms_mm < 1e-9
    assert np.linalg.det(fit.matrix[:3, :3]) == pytest.approx(-1.0 if mirrored else 1.0)


def test_the_wrong_handedness_does_not_fit():
    source = np.random.default_rng(7).normal(size=(6, 3)) * 30.0
    image = source * [-1.0, 1.0, 1.0]
    assert rigid_fit(source, image, mirrored=True).rms_mm < 1e-9
    assert rigid_fit(source, image).rms_mm > 5.0


def test_points_in_a_row_show_no_second_extent():
    fit = rigid_fit(np.outer(np.arange(4.0), [1, 2, 3]), np.outer(np.arange(4.0), [1, 2, 3]))
    assert fit.spread_mm[0] > 1.0
    assert fit.spread_mm[1] < 1e-6


def montage(name):
    mne = pytest.importorskip("mne")
    places = mne.channels.make_standard_montage(name).get_positions()["ch_pos"]
    return {key: np.array(place) * 1000.0 for key, place in places.items()}


def test_procrustes_on_published_landmarks():
    # scipy.spatial.procrustes on the electrode positions of two head montages inside mne. It scales both
    # to norm 1 and the second to fit; without that last scale the squared distance is 2 − 2 √(1 − disparity).
    one, other = montage("biosemi64"), montage("easycap-M1")
    names = sorted(set(one) & set(other))
    assert len(names) > 30
    a, b = (np.array([found[name] for name in names]) for found in (one, other))
    disparity = procrustes(a, b)[2]
    a, b = (points - points.mean(axis=0) for points in (a, b))
    a, b = a / np.linalg.norm(a), b / np.linalg.norm(b)
    fit = rigid_fit(b, a)
    assert (fit.residual_mm**2).sum() == pytest.approx(2.0 - 2.0 * np.sqrt(1.0 - disparity), abs=1e-12)


def test_left_and_right_of_published_landmarks_are_mirror_images():
    # A template head: F3 and F4, C3 and C4 ... lie on opposite sides of the midline.
    places = montage("biosemi64")
    pairs = [("F3", "F4"), ("C3", "C4"), ("P3", "P4"), ("O1", "O2"), ("T7", "T8"), ("Fp1", "Fp2")]
    left, right = (np.array([places[pair[side]] for pair in pairs]) for side in (0, 1))
    source, target = np.concatenate([left, right]), np.concatenate([right, left])
    assert rigid_fit(source, target, mirrored=True).rms_mm < 1e-3
    assert rigid_fit(source, target).rms_mm > 5.0


def test_motion_agrees_with_scipy():
    vector, center = np.array([0.2, -0.3, 0.5, 4.0, 5.0, 6.0]), np.array([10.0, 20.0, 30.0])
    turn = Rotation.from_rotvec(vector[:3])
    point = np.array([[1.0, 2.0, 3.0]])
    expected = turn.apply(point - center) + center + vector[3:]
    matrix = motion(vector, center)
    np.testing.assert_allclose(moved(point, matrix), expected, atol=1e-12)
    assert turn_deg(matrix) == pytest.approx(np.degrees(turn.magnitude()), abs=1e-9)
    assert motion(np.zeros(6), center).tolist() == np.eye(4).tolist()

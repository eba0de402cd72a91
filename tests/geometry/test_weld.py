"""Welding, against numpy's unique rows, and with its hash switched off."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from mirrorprep.errors import UsageError
from mirrorprep.geometry import weld
from mirrorprep.geometry.weld import weld_exact, weld_within


def reference(points):
    """Return the groups that numpy.unique finds, numbered by first occurrence."""
    _, first, inverse = np.unique(points + 0.0, axis=0, return_index=True, return_inverse=True)
    rank = np.empty(len(first), dtype=np.int64)
    rank[np.argsort(first)] = np.arange(len(first))
    return np.sort(first), rank[inverse.ravel()]


def soup(dtype, count=4000):
    rng = np.random.default_rng(1)
    return rng.integers(-9, 9, (count, 3)).astype(dtype) / 8


@pytest.mark.parametrize("dtype", [np.float32, np.float64])
def test_agrees_with_unique_rows(dtype):
    points = soup(dtype)
    found = weld_exact(points)
    kept, label = reference(points)
    np.testing.assert_array_equal(found.kept, kept)
    np.testing.assert_array_equal(found.label, label)
    assert found.merged == len(points) - len(kept)


@settings(deadline=None, derandomize=True, max_examples=60)
@given(
    hnp.arrays(
        np.float64,
        st.tuples(st.integers(1, 40), st.just(3)),
        elements=st.sampled_from([0.0, -0.0, 1.0, -1.0, 5e-324, 1e300, 1.0 + 2**-52]),
    )
)
def test_agrees_with_unique_rows_for_any_input(points):
    found = weld_exact(points)
    kept, label = reference(points)
    np.testing.assert_array_equal(found.kept, kept)
    np.testing.assert_array_equal(found.label, label)


def test_stays_exact_when_every_hash_collides(monkeypatch):
    for name in ("_MIX_A", "_MIX_B", "_MIX_C", "_MIX_D"):
        monkeypatch.setattr(weld, name, np.uint64(0))
    points = soup(np.float32)
    kept, label = reference(points)
    found = weld_exact(points)
    np.testing.assert_array_equal(found.kept, kept)
    np.testing.assert_array_equal(found.label, label)


def test_stays_exact_when_some_hashes_collide(monkeypatch):
    monkeypatch.setattr(weld, "_MIX_A", np.uint64(1 << 62))  # leaves two bits of the hash
    points = soup(np.float64)
    found = weld_exact(points)
    np.testing.assert_array_equal(found.label, reference(points)[1])


def test_negative_zero_is_zero_and_neighbouring_floats_differ():
    points = np.array([[0.0, 1, 1], [-0.0, 1, 1], [0, 1, np.nextafter(1.0, 2)]])
    assert weld_exact(points).label.tolist() == [0, 0, 1]


def test_input_is_left_alone():
    points = soup(np.float32)
    points.flags.writeable = False
    before = points.copy()
    weld_exact(points)
    np.testing.assert_array_equal(points, before)


def test_nothing_welds_to_nothing():
    assert len(weld_exact(np.zeros((0, 3))).label) == 0
    assert weld_within(np.zeros((1, 3)), 1.0).label.tolist() == [0]


def test_tolerance_joins_chains_and_keeps_the_first_point():
    points = np.array([[5.0, 0, 0], [0, 0, 0], [0.9, 0, 0], [1.8, 0, 0], [0, 0, 0]])
    found = weld_within(points, 1.0)
    assert found.label.tolist() == [0, 1, 1, 1, 1]
    assert found.kept.tolist() == [0, 1]


def test_zero_tolerance_is_exact():
    points = soup(np.float64)
    np.testing.assert_array_equal(weld_within(points, 0.0).label, weld_exact(points).label)


def test_groups_agree_with_distances():
    """Two points share a group if and only if steps within the tolerance link them (brute force)."""
    points = np.random.default_rng(2).uniform(size=(120, 3))
    label = weld_within(points, 0.12).label
    linked = np.linalg.norm(points[:, None] - points[None], axis=2) <= 0.12
    for _ in range(7):
        linked = (linked.astype(int) @ linked.astype(int)) > 0
    np.testing.assert_array_equal(label[:, None] == label[None], linked)


@pytest.mark.parametrize("tolerance", [-0.1, np.nan, np.inf])
def test_impossible_tolerance(tolerance):
    with pytest.raises(UsageError, match="not possible"):
        weld_within(np.zeros((3, 3)), tolerance)


def test_tolerance_that_links_everything_is_refused_in_bounded_memory():
    points = np.random.default_rng(3).uniform(size=(20_000, 3))
    with pytest.raises(UsageError, match="links 199990000 pairs"):
        weld_within(points, 10.0)

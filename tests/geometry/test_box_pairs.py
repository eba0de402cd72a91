import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mirrorprep.geometry.box_pairs import boxes_near, overlapping_boxes


def every_pair(low, high):
    meet = ((low[:, None] <= high[None]) & (low[None] <= high[:, None])).all(axis=2)
    return {(int(i), int(j)) for i, j in zip(*np.nonzero(np.triu(meet, 1)), strict=True)}


def listed(low, high):
    pairs = [p for one, other in overlapping_boxes(low, high) for p in zip(one, other, strict=True)]
    return [(int(min(p)), int(max(p))) for p in pairs]


@settings(deadline=None, max_examples=40, derandomize=True)
@given(st.integers(0, 10_000), st.integers(2, 120), st.floats(-3.0, 0.5))
def test_finds_each_overlap_once_for_boxes_of_mixed_size(seed, count, spread):
    rng = np.random.default_rng(seed)
    low = rng.random((count, 3))
    high = low + 10.0 ** rng.uniform(spread - 2.0, spread, (count, 3))
    found = listed(low, high)
    assert len(found) == len(set(found))
    assert set(found) == every_pair(low, high)


def test_points_and_lines_count_as_boxes():
    low = np.array([[0.0, 0, 0], [0, 0, 0], [1, 0, 0]])
    high = np.array([[0.0, 0, 0], [1, 0, 0], [1, 5, 0]])
    assert set(listed(low, high)) == {(0, 1), (1, 2)}


@pytest.mark.parametrize("count", [0, 1])
def test_fewer_than_two_boxes_have_no_pairs(count):
    assert listed(np.zeros((count, 3)), np.ones((count, 3))) == []


def test_the_order_of_many_pairs_does_not_depend_on_the_threads():
    rng = np.random.default_rng(4)
    low = rng.random((3000, 3))
    first = listed(low, low + 0.2)
    assert len(first) > 100_000
    assert listed(low, low + 0.2) == first


def test_boxes_far_from_the_origin_lose_no_pair():
    low = np.array([[1e6, 0, 0], [1e6 + 0.9999999, 0, 0]])
    assert listed(low, low + 1.0) == [(0, 1)]


@settings(deadline=None, max_examples=30, derandomize=True)
@given(st.integers(0, 10_000))
def test_surroundings_hold_every_box_that_overlaps_a_marked_one(seed):
    rng = np.random.default_rng(seed)
    low = rng.random((200, 3)) * 4.0
    high = low + 10.0 ** rng.uniform(-3, 0.3, (200, 3))
    marked = rng.random(200) < 0.05
    near = set(boxes_near(low, high, marked).tolist())
    meet = ((low[:, None] <= high[None]) & (low[None] <= high[:, None])).all(axis=2)
    assert set(np.flatnonzero(meet[:, marked].any(axis=1)).tolist()) <= near


def test_surroundings_leave_out_what_is_far():
    low = np.arange(100.0)[:, None] * [1.0, 0.0, 0.0]
    near = boxes_near(low, low + 0.5, np.arange(100) == 50)
    assert len(near) < 6

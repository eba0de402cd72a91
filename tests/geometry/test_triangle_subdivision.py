import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mirrorprep.geometry.triangle_subdivision import MOST_POINTS, subdivide

CORNERS = np.array([[0.0, 0], [1, 0], [0.2, 0.9]])
PLAIN = [[0, 1], [1, 2], [2, 0]]


def areas(points, faces):
    a, b, c = (points[faces[:, k]] for k in range(3))
    u, v = b - a, c - a
    return (u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]) / 2.0


def edges(faces):
    return {tuple(sorted((f[i], f[i - 1]))) for f in faces.tolist() for i in range(3)}


@settings(deadline=None, max_examples=60, derandomize=True)
@given(st.integers(0, 10_000), st.integers(0, 12), st.integers(0, 4))
def test_covers_the_triangle_and_holds_all_segments(seed, inner, on_side):
    rng = np.random.default_rng(seed)
    weights = rng.dirichlet(np.ones(3), inner)
    along = np.sort(rng.uniform(0.05, 0.95, on_side))
    side = CORNERS[0] + along[:, None] * (CORNERS[1] - CORNERS[0])
    points = np.concatenate([CORNERS, weights @ CORNERS, side])
    first = 3 + inner
    sides = [[0, *range(first, first + on_side), 1], [1, 2], [2, 0]]
    # Segments from a chain of points sorted by height cross nothing when they rise steadily.
    chain = 3 + np.argsort(points[3:first, 1])
    segments = np.stack([chain[:-1], chain[1:]], axis=1).reshape(-1, 2)
    faces = subdivide(points, sides, segments)
    assert faces is not None
    assert len(faces) == 2 * len(points) - 2 - (3 + on_side)
    assert areas(points, faces).min() > 0
    assert areas(points, faces).sum() == pytest.approx(areas(points, np.array([[0, 1, 2]]))[0])
    assert {tuple(sorted(s)) for s in segments.tolist()} <= edges(faces)


def test_a_closed_curve_inside_becomes_a_closed_curve_of_edges():
    turn = np.linspace(0, 2 * np.pi, 20, endpoint=False)
    loop = np.column_stack([0.4 + 0.15 * np.cos(turn), 0.3 + 0.15 * np.sin(turn)])
    ring = 3 + np.arange(20)
    faces = subdivide(np.concatenate([CORNERS, loop]), PLAIN, np.stack([ring, np.roll(ring, -1)], axis=1))
    around = zip(ring, np.roll(ring, -1), strict=True)
    assert {tuple(sorted((int(a), int(b)))) for a, b in around} <= edges(faces)


def test_crossing_segments_and_too_many_points_are_refused():
    points = np.concatenate([CORNERS, [[0.3, 0.2], [0.5, 0.4], [0.3, 0.4], [0.5, 0.2]]])
    assert subdivide(points, PLAIN, np.array([[3, 4], [5, 6]])) is None
    many = np.random.default_rng(0).dirichlet(np.ones(3), MOST_POINTS) @ CORNERS
    assert subdivide(np.concatenate([CORNERS, many]), PLAIN, np.zeros((0, 2), dtype=np.int64)) is None

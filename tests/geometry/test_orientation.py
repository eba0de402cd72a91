"""Signs against rational arithmetic (Python's own `fractions`)."""

from fractions import Fraction

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from mirrorprep.geometry.orientation import orientation_2d, orientation_3d


def exact_sign_3d(a, b, c, d):
    u, v, w = (
        [Fraction(float(p)) - Fraction(float(q)) for p, q in zip(x, d, strict=True)] for x in (a, b, c)
    )
    value = (
        (v[0] * w[1] - v[1] * w[0]) * u[2]
        + (w[0] * u[1] - w[1] * u[0]) * v[2]
        + (u[0] * v[1] - u[1] * v[0]) * w[2]
    )
    return -((value > 0) - (value < 0))


def test_a_point_above_a_counter_clockwise_triangle_is_positive():
    a, b, c = (np.array([p], dtype=float) for p in ([0, 0, 0], [1, 0, 0], [0, 1, 0]))
    assert orientation_3d(a, b, c, np.array([[0.2, 0.2, 1.0]]))[0] == 1
    assert orientation_3d(b, a, c, np.array([[0.2, 0.2, 1.0]]))[0] == -1


@settings(deadline=None, max_examples=60, derandomize=True)
@given(st.integers(0, 100_000), st.integers(0, 3))
def test_signs_of_nearly_coplanar_points_are_exact_for_single_precision_input(seed, ulps):
    rng = np.random.default_rng(seed)
    points = rng.uniform(-100, 100, (4, 3)).astype(np.float32)
    share = rng.random(2)
    points[3] = points[0] + share[0] * (points[1] - points[0]) + share[1] * (points[2] - points[0])
    for _ in range(ulps):
        points[3, 2] = np.nextafter(points[3, 2], np.float32(np.inf))
    a, b, c, d = points.astype(np.float64)[:, None]
    assert orientation_3d(a, b, c, d)[0] == exact_sign_3d(a[0], b[0], c[0], d[0])


def test_exactly_coplanar_points_give_zero_where_plain_arithmetic_does_not():
    # Points of the plane x + y + z = 1.5 with few bits, shifted by a power of two.
    rng = np.random.default_rng(0)
    xy = rng.integers(-(2**18), 2**18, (4, 300, 2)) / 2.0**10
    points = np.concatenate([xy, 1.5 - xy.sum(axis=2, keepdims=True)], axis=2) + 2.0**12
    assert (orientation_3d(*points) == 0).all()


def test_swapping_two_points_turns_the_sign_and_moving_all_keeps_it():
    rng = np.random.default_rng(1)
    a, b, c, d = rng.normal(size=(4, 500, 3))
    sign = orientation_3d(a, b, c, d)
    assert (orientation_3d(b, a, c, d) == -sign).all()
    assert (orientation_3d(a, b, d, c) == -sign).all()
    assert (orientation_3d(a + 7.0, b + 7.0, c + 7.0, d + 7.0) == sign).all()


def test_points_in_line_are_found_in_the_plane():
    a, b, c = (np.array([p]) for p in ([0.1, 0.1], [0.2, 0.2], [0.3, 0.3]))
    exact = [[Fraction(float(x)) for x in p[0]] for p in (a, b, c)]
    (ax, ay), (bx, by), (cx, cy) = exact
    value = (ax - cx) * (by - cy) - (ay - cy) * (bx - cx)
    assert orientation_2d(a, b, c)[0] == (value > 0) - (value < 0)
    assert orientation_2d(a, b, np.array([[0.3, np.nextafter(0.3, 1.0)]]))[0] == 1

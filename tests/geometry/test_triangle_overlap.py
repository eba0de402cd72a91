"""Overlap tests against rational arithmetic."""

from fractions import Fraction
from itertools import product

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from mirrorprep.geometry.triangle_overlap import fans_meet, folded, triangles_meet

corner = st.tuples(*[st.integers(0, 3)] * 3)


def sub(p, q):
    return [x - y for x, y in zip(p, q, strict=True)]


def cross(p, q):
    return [p[1] * q[2] - p[2] * q[1], p[2] * q[0] - p[0] * q[2], p[0] * q[1] - p[1] * q[0]]


def dot(p, q):
    return sum(x * y for x, y in zip(p, q, strict=True))


def segment_meets_triangle(p, q, triangle):
    """By solving for the common point in fractions; segments in the plane are tried against the sides."""
    a, b, c = triangle
    normal = cross(sub(b, a), sub(c, a))
    low, high = dot(normal, sub(p, a)), dot(normal, sub(q, a))
    if low == high == 0:
        return inside(p, triangle, normal) or any(
            segments_meet(p, q, triangle[i], triangle[i - 1], normal) for i in range(3)
        )
    if low * high > 0:
        return False
    t = Fraction(low, low - high)
    return inside([x + t * (y - x) for x, y in zip(p, q, strict=True)], triangle, normal)


def inside(p, triangle, normal):
    turns = [dot(normal, cross(sub(triangle[i], triangle[i - 1]), sub(p, triangle[i - 1]))) for i in range(3)]
    return min(turns) >= 0


def segments_meet(p, q, r, s, normal):
    def turn(x, y, z):
        value = dot(normal, cross(sub(y, x), sub(z, x)))
        return (value > 0) - (value < 0)

    def on(x, y, z):
        return turn(x, y, z) == 0 and dot(sub(z, x), sub(z, y)) <= 0

    proper = turn(p, q, r) * turn(p, q, s) < 0 and turn(r, s, p) * turn(r, s, q) < 0
    return proper or on(p, q, r) or on(p, q, s) or on(r, s, p) or on(r, s, q)


def meet_exactly(one, other):
    return any(
        segment_meets_triangle(first[i], first[i - 1], second)
        for first, second in ((one, other), (other, one))
        for i in range(3)
    )


def has_area(triangle):
    a, b, c = triangle
    return any(cross(sub(b, a), sub(c, a)))


@settings(deadline=None, max_examples=400, derandomize=True)
@given(st.tuples(corner, corner, corner), st.tuples(corner, corner, corner))
def test_triangles_on_a_small_lattice_meet_exactly_when_fractions_say_so(one, other):
    if has_area(one) and has_area(other):
        found = triangles_meet(np.array([one], dtype=float), np.array([other], dtype=float))[0]
        assert found == meet_exactly(one, other)


@settings(deadline=None, max_examples=300, derandomize=True)
@given(corner, corner, corner, corner, corner)
def test_fans_on_a_small_lattice_meet_exactly_when_fractions_say_so(apex, a1, a2, b1, b2):
    one, other = (apex, a1, a2), (apex, b1, b2)
    if not (has_area(one) and has_area(other)):
        return
    exact = segment_meets_triangle(a1, a2, other) or segment_meets_triangle(b1, b2, one)
    first, second = np.array([[a1, a2]], dtype=float), np.array([[b1, b2]], dtype=float)
    if len({apex, a1, a2, b1, b2}) == 5:
        assert fans_meet(np.array([apex], dtype=float), first, second)[0] == exact


def test_random_triangles_agree_with_fractions():
    rng = np.random.default_rng(5)
    one, other = rng.normal(size=(2, 300, 3, 3))
    found = triangles_meet(one, other)
    exact = [
        meet_exactly(*([[Fraction(float(x)) for x in p] for p in t] for t in pair))
        for pair in zip(one, other, strict=True)
    ]
    assert 30 < sum(exact) < 270
    assert found.tolist() == exact


def test_touching_counts_and_order_of_corners_does_not_matter():
    flat = np.array([[[0.0, 0, 0], [2, 0, 0], [0, 2, 0]]])
    touching = np.array([[[0.5, 0.5, 0], [0.5, 0.5, 3], [3, 0.5, 3]]])
    for order in product(range(3), repeat=2):
        one, other = np.roll(flat, order[0], axis=1), np.roll(touching, order[1], axis=1)
        assert triangles_meet(one, other)[0]
        assert triangles_meet(other, one)[0]
        assert not triangles_meet(one, other + [0, 0, 1e-12])[0]


def test_folded_needs_the_same_plane_and_side():
    start, stop, wing = (np.array([p], dtype=float) for p in ([0, 0, 0], [4, 0, 0], [1, 1, 0]))
    assert folded(start, stop, wing, np.array([[3.0, 2, 0]]))[0]
    assert not folded(start, stop, wing, np.array([[3.0, 2, 1e-12]]))[0]
    assert not folded(start, stop, wing, np.array([[3.0, -2, 0]]))[0]

"""Winding numbers against closed forms: 1 inside, 0 outside, and the solid angle of a disc."""

import numpy as np
import pytest

from mirrorprep.geometry.winding_number import quick_winding_numbers, winding_numbers
from mirrorprep.solid.primitives import box, sphere


def test_is_one_inside_and_zero_outside_and_negative_when_inside_out():
    cube = box([2, 3, 4]).mesh
    places = np.array([[0.0, 0, 0], [0.9, 1.4, 1.9], [1.1, 0, 0], [50, 0, 0]])
    np.testing.assert_allclose(winding_numbers(places, cube.vertices, cube.faces), [1, 1, 0, 0], atol=1e-12)
    turned = winding_numbers(places, cube.vertices, cube.faces[:, ::-1])
    np.testing.assert_allclose(turned, [-1, -1, 0, 0], atol=1e-12)


def test_an_open_disc_gives_its_solid_angle():
    # A disc of radius r seen from height h on its axis: Ω = 2π (1 − h / √(r² + h²)).
    turn = np.linspace(0, 2 * np.pi, 2000, endpoint=False)
    vertices = np.vstack([[0, 0, 0], np.column_stack([np.cos(turn), np.sin(turn), 0 * turn])])
    ring = np.arange(2000)
    faces = np.column_stack([np.zeros(2000, dtype=int), 1 + ring, 1 + (ring + 1) % 2000])
    for height in (0.3, 1.0, 5.0):
        angle = 2 * np.pi * (1 - height / np.hypot(1, height))
        below = winding_numbers(np.array([[0.0, 0, -height]]), vertices, faces)[0]
        assert below == pytest.approx(angle / (4 * np.pi), abs=2e-6)


def test_the_quick_sum_is_within_a_hundredth_of_the_exact_one():
    ball = sphere(10.0, segments=300).mesh
    open_ball = ball.faces[: int(0.8 * len(ball.faces))]
    places = np.random.default_rng(0).uniform(-14, 14, (40, 3))
    places = places[np.abs(np.linalg.norm(places, axis=1) - 10.0) > 0.2]
    exact = winding_numbers(places, ball.vertices, open_ball)
    assert np.ptp(exact) > 0.5
    np.testing.assert_allclose(quick_winding_numbers(places, ball.vertices, open_ball), exact, atol=0.01)

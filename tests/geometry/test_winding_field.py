"""The sampled winding number against spheres, exact sums and open surfaces."""

import numpy as np
import pytest

from mirrorprep.errors import UsageError
from mirrorprep.geometry.contour import contour
from mirrorprep.geometry.winding_field import winding_field
from mirrorprep.geometry.winding_number import winding_numbers
from mirrorprep.solid.primitives import box, sphere


@pytest.mark.parametrize("spacing", [4.0, 2.0])
def test_the_half_level_lies_within_a_tenth_of_a_spacing_of_a_sphere(spacing):
    ball = sphere(40.0, segments=128).mesh
    field = winding_field(ball.vertices, ball.faces, spacing_mm=spacing)
    vertices, faces = contour(0.5 - field.values, field.origin_mm, spacing)
    off = np.linalg.norm(vertices, axis=1) - 40.0
    assert np.abs(off).max() < 0.1 * spacing
    assert len(faces) > 1000


def test_agrees_with_exact_sums_away_from_an_open_surface():
    ball = sphere(20.0, segments=64).mesh
    faces = ball.faces[ball.triangles.mean(axis=1)[:, 2] < 10.0]
    field = winding_field(ball.vertices, faces, spacing_mm=2.0)
    index = np.argwhere(np.ones(field.values.shape, dtype=bool))[::97]
    places = field.origin_mm + index * 2.0
    away = np.abs(np.linalg.norm(places, axis=1) - 20.0) > 5.0
    exact = winding_numbers(places[away], ball.vertices, faces)
    np.testing.assert_allclose(field.values[tuple(index[away].T)], exact, atol=0.02)


def test_overlapping_bodies_add_up_and_turned_ones_count_against():
    one, other = box([20, 20, 20]).mesh, box([10, 10, 10]).mesh
    faces = np.concatenate([one.faces, other.faces + len(one.vertices)])
    corners = np.concatenate([one.vertices, other.vertices])
    for turn, expected in ((1, 2.0), (-1, 0.0)):
        both = faces.copy()
        both[len(one.faces) :] = both[len(one.faces) :, ::turn]
        field = winding_field(corners, both, spacing_mm=1.0)
        middle = tuple(n // 2 for n in field.values.shape)
        assert field.values[middle] == pytest.approx(expected, abs=0.02)


def test_a_spacing_too_fine_is_refused_with_the_finest_possible():
    cube = box([100, 100, 100]).mesh
    with pytest.raises(UsageError, match="limit") as caught:
        winding_field(cube.vertices, cube.faces, spacing_mm=0.1)
    assert "mm or more" in caught.value.remedy

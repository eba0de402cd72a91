import numpy as np
import pytest

from mirrorprep.geometry.height_field import HeightField, body_below, level_field, triangulated, widened
from mirrorprep.geometry.mass_properties import signed_volume_mm3
from mirrorprep.geometry.topology import edge_table


def sloping(count=300, seed=3):
    """Scattered nodes on the plane z = 2 + u/2 − v/4 over the rectangle 0…10 × 0…6."""
    rng = np.random.default_rng(seed)
    rim = [[u, v] for u in np.linspace(0, 10, 6) for v in (0.0, 6.0)]
    rim += [[u, v] for v in np.linspace(0, 6, 5)[1:-1] for u in (0.0, 10.0)]
    uv = np.vstack([rim, rng.uniform([0.1, 0.1], [9.9, 5.9], size=(count, 2))])
    height = 2.0 + uv[:, 0] / 2.0 - uv[:, 1] / 4.0
    return HeightField(nodes_uv=uv, height_mm=height, triangles=triangulated(uv))


def test_triangles_cover_the_rectangle_once_and_turn_one_way():
    field = sloping()
    a, b, c = np.moveaxis(field.nodes_uv[field.triangles], 1, 0)
    area = np.cross(np.pad(b - a, ((0, 0), (0, 1))), np.pad(c - a, ((0, 0), (0, 1))))[:, 2] / 2.0
    assert (area > 0).all()
    assert area.sum() == pytest.approx(60.0, rel=1e-12)


def test_height_is_linear_inside_and_carries_on_outside():
    field = sloping()
    rng = np.random.default_rng(0)
    uv = rng.uniform([0, 0], [10, 6], size=(500, 2))
    np.testing.assert_allclose(field.at(uv), 2.0 + uv[:, 0] / 2.0 - uv[:, 1] / 4.0, atol=1e-9)
    np.testing.assert_allclose(field.at([[-5.0, 3.0], [20.0, 9.0]]), [1.25, 5.5], atol=1e-6)
    np.testing.assert_allclose(field.at(field.nodes_uv), field.height_mm, atol=1e-6)
    assert field.at(np.zeros((0, 2))).shape == (0,)


def test_slope_of_a_plane():
    expected = np.degrees(np.arctan(np.hypot(0.5, 0.25)))
    np.testing.assert_allclose(sloping().slopes_deg(), expected, atol=1e-6)


def test_body_below_is_closed_and_has_the_volume_of_the_prism():
    field = sloping()
    vertices, faces = body_below(field, -1.0)
    table = edge_table(faces)
    assert (table.uses == 2).all()
    assert not table.inconsistent.any()
    # mean height over the floor is that at the middle of the rectangle: 2 + 2.5 − 0.75 + 1
    assert signed_volume_mm3(vertices, faces) == pytest.approx(60.0 * 4.75, rel=1e-9)


def test_widened_field_keeps_its_heights_and_stays_closed():
    field = sloping()
    wide = widened(field, 3.0)
    np.testing.assert_allclose([wide.low_uv, wide.high_uv], [[-3, -3], [13, 9]])
    uv = np.array([[1.0, 1.0], [5.0, 3.0], [-2.0, 3.0], [12.0, 8.0]])
    np.testing.assert_allclose(wide.at(uv), [2.25, 3.75, 1.25, 5.5], atol=1e-6)
    vertices, faces = body_below(wide, -5.0)
    assert (edge_table(faces).uses == 2).all()
    assert signed_volume_mm3(vertices, faces) > 0.0


def test_level_field_is_level():
    field = level_field([1, 2], [3, 5], 7.0)
    assert field.slopes_deg().max() == 0.0
    assert field.at([[2.0, 3.0]])[0] == 7.0

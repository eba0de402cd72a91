"""Cuts along levels against closed forms: caps of a ball, strips of a square."""

import numpy as np
import pytest

from mirrorprep.geometry.borders import border_loops
from mirrorprep.geometry.level_cut import cut_below_zero
from mirrorprep.geometry.normals import doubled_areas
from mirrorprep.geometry.topology import edge_table
from mirrorprep.solid.primitives import box, sphere


def area(vertices, faces):
    return np.linalg.norm(doubled_areas(vertices, faces), axis=1).sum() / 2.0


@pytest.mark.parametrize("height", [-6.3, 0.17, 4.05])
def test_cap_of_a_ball(height):
    # Area of a cap: 2πR·h.
    mesh = sphere(10.0, segments=200).mesh
    cut = cut_below_zero(mesh.vertices, mesh.faces, height - mesh.vertices[:, 2])
    assert area(cut.vertices, cut.faces) == pytest.approx(2 * np.pi * 10.0 * (10.0 - height), rel=4e-3)
    loops = border_loops(cut.faces, edge_table(cut.faces))
    assert len(loops) == 1
    assert np.abs(cut.vertices[loops[0].corners, 2] - height).max() < 0.1
    table = edge_table(cut.faces)
    assert not table.non_manifold.any()
    assert not table.inconsistent.any()


def test_both_sides_make_the_whole():
    mesh = box([10, 10, 10]).mesh
    value = mesh.vertices @ [0.3, 0.5, 0.8] - 0.7
    both = [cut_below_zero(mesh.vertices, mesh.faces, sign * value) for sign in (1, -1)]
    assert sum(area(cut.vertices, cut.faces) for cut in both) == pytest.approx(600.0, rel=1e-9)


def test_values_are_carried_to_the_cut():
    mesh = sphere(10.0, segments=40).mesh
    cut = cut_below_zero(mesh.vertices, mesh.faces, mesh.vertices[:, 0] - 2.0)
    np.testing.assert_allclose(cut.carried(mesh.vertices), cut.vertices, atol=1e-12)
    np.testing.assert_allclose(cut.carried(mesh.vertices[:, 1]), cut.vertices[:, 1], atol=1e-12)


def test_all_or_nothing():
    mesh = box([1, 1, 1]).mesh
    assert len(cut_below_zero(mesh.vertices, mesh.faces, np.full(8, -1.0)).faces) == 12
    assert len(cut_below_zero(mesh.vertices, mesh.faces, np.full(8, 1.0)).faces) == 0


def test_corners_beside_the_cut_are_taken_onto_it():
    corner = np.array([[0.0, 0, 0], [10, 0, 0], [0, 10, 0]])
    cut = cut_below_zero(corner, np.array([[0, 1, 2]]), np.array([-0.1, 9.9, -10.0]))
    assert cut.vertices.tolist()[0] == [0.0, 0.0, 0.0]
    assert len(cut.faces) == 1

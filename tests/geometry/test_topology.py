"""Edges and bodies, each check fed its fault."""

import numpy as np

from mirrorprep.geometry.topology import bodies, edge_table
from mirrorprep.solid.primitives import box


def test_closed_box_has_only_clean_edges():
    table = edge_table(box([1, 1, 1]).mesh.faces)
    assert len(table.edges) == 18
    assert table.uses.tolist() == [2] * 18
    assert (table.open | table.non_manifold | table.inconsistent).sum() == 0


def test_missing_face_opens_three_edges():
    assert edge_table(box([1, 1, 1]).mesh.faces[1:]).open.sum() == 3


def test_flipped_face_makes_three_edges_inconsistent():
    faces = np.array(box([1, 1, 1]).mesh.faces)
    faces[0] = faces[0, ::-1]
    assert edge_table(faces).inconsistent.sum() == 3


def test_third_triangle_makes_an_edge_non_manifold():
    faces = np.vstack([box([1, 1, 1]).mesh.faces, [[0, 1, 8]]])
    table = edge_table(faces)
    assert table.non_manifold.sum() + table.open.sum() >= 3
    assert table.edges[table.of_face[-1]].max() == 8


def test_bodies_are_numbered_by_their_first_face():
    count, number = bodies(np.array([[5, 6, 7], [0, 1, 2], [7, 8, 9]]), 10)
    assert count == 2
    assert number.tolist() == [0, 1, 0]
    assert bodies(np.zeros((0, 3), dtype=np.int64), 4)[0] == 0

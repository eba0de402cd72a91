import numpy as np

from mirrorprep.geometry.arrangement import arrange
from mirrorprep.geometry.crossings import crossings
from mirrorprep.geometry.self_intersection import self_intersections
from mirrorprep.geometry.topology import edge_table
from mirrorprep.solid.primitives import sphere


def balls(*centers, segments=16):
    parts = [sphere(10.0, segments=segments, center_mm=c).mesh for c in centers]
    starts = np.cumsum([0] + [len(p.vertices) for p in parts])
    faces = np.concatenate([p.faces + s for p, s in zip(parts, starts, strict=False)])
    return np.concatenate([p.vertices for p in parts]), faces


def arranged(vertices, faces):
    return arrange(vertices, faces, crossings(vertices, faces, self_intersections(vertices, faces)))


def area(vertices, faces):
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    return np.linalg.norm(np.cross(b - a, c - a), axis=1) / 2.0


def test_pieces_cover_their_parents_and_meet_in_whole_edges():
    vertices, faces = balls([0, 0, 0], [7.3, 1.1, 2.9])
    whole = arranged(vertices, faces)
    np.testing.assert_array_equal(whole.vertices[: len(vertices)], vertices)
    covered = np.bincount(whole.parent, area(whole.vertices, whole.faces), len(faces))
    np.testing.assert_allclose(covered, area(vertices, faces), rtol=1e-9)
    table = edge_table(whole.faces)
    assert set(np.unique(table.uses).tolist()) == {2, 4}
    assert (table.forward == table.backward).all()
    left = self_intersections(whole.vertices, whole.faces)
    assert len(left) < 0.02 * len(faces)  # rounding of the crossing points may leave touches


def test_three_balls_meet_in_two_points_that_all_three_share():
    vertices, faces = balls([0, 0, 0], [8.3, 0.7, 1.1], [3.9, 7.7, -0.6])
    whole = arranged(vertices, faces)
    crossing = crossings(vertices, faces, self_intersections(vertices, faces))
    assert len(whole.vertices) == len(vertices) + len(crossing.points) + 2
    assert (edge_table(whole.faces).forward == edge_table(whole.faces).backward).all()


def test_a_mesh_without_crossings_is_returned_whole():
    vertices, faces = balls([0, 0, 0])
    whole = arranged(vertices, faces)
    np.testing.assert_array_equal(whole.faces, faces)
    np.testing.assert_array_equal(whole.parent, np.arange(len(faces)))

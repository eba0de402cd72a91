import numpy as np

from mirrorprep.geometry.crossings import crossings
from mirrorprep.geometry.self_intersection import self_intersections
from mirrorprep.solid.primitives import sphere


def two_balls():
    one, other = sphere(10.0, segments=24).mesh, sphere(10.0, segments=24, center_mm=[7.1, 1.3, 2.7]).mesh
    faces = np.concatenate([one.faces, other.faces + len(one.vertices)])
    return np.concatenate([one.vertices, other.vertices]), faces


def test_points_lie_on_their_edge_and_in_their_triangle():
    vertices, faces = two_balls()
    found = crossings(vertices, faces, self_intersections(vertices, faces))
    assert len(found.unclear) == 0
    assert len(found.points) > 30
    a, b, c = (vertices[faces[found.face, k]] for k in range(3))
    normal = np.cross(b - a, c - a)
    height = np.einsum("ij,ij->i", found.points - a, normal) / np.linalg.norm(normal, axis=1)
    assert np.abs(height).max() < 1e-12
    low, high = vertices[found.edge[:, 0]], vertices[found.edge[:, 1]]
    np.testing.assert_allclose(low + found.along[:, None] * (high - low), found.points)
    assert ((found.along > 0) & (found.along < 1)).all()


def test_segments_of_two_closed_surfaces_form_closed_curves():
    vertices, faces = two_balls()
    found = crossings(vertices, faces, self_intersections(vertices, faces))
    assert (found.ends >= 0).all()
    assert (np.bincount(found.ends.ravel()) == 2).all()


def test_a_point_has_one_name_for_both_triangles_on_its_edge():
    vertices, faces = two_balls()
    found = crossings(vertices, faces, self_intersections(vertices, faces))
    names = np.column_stack([found.edge, found.face])
    assert len(np.unique(names, axis=0)) == len(names)
    assert len(found.pairs) == len(found.points)


def test_fans_through_each_other_cross_from_their_common_corner():
    corners = np.array([[0.0, 0, 0], [2, -1, 0], [2, 1, 0], [1.5, 0.1, -1], [1.5, 0.1, 1]])
    found = crossings(corners, np.array([[0, 1, 2], [0, 3, 4]]), np.array([[0, 1]]))
    assert found.ends.tolist() == [[-1, 0]]
    np.testing.assert_allclose(found.points, [[1.5, 0.1, 0]])


def test_touching_and_coplanar_pairs_are_unclear():
    flat = np.array([[0.0, 0, 0], [4, 0, 0], [0, 4, 0]])
    faces = np.arange(6).reshape(2, 3)
    for other in (flat + [0.5, 0.5, 0.0], np.array([[1.0, 1, 0], [1, 1, 3], [2, 2, 3]])):
        found = crossings(np.concatenate([flat, other]), faces, np.array([[0, 1]]))
        assert found.unclear.tolist() == [[0, 1]]
        assert len(found.pairs) == 0

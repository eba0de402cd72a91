import numpy as np

from mirrorprep.geometry.splitting import part_double_edges, split_fans
from mirrorprep.geometry.topology import bodies, edge_table
from mirrorprep.solid.certify import certify, examine
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.primitives import box


def touching_boxes(shift):
    """Two unit boxes that share what their corners have in common once welded."""
    one, two = box([1, 1, 1]).mesh, box([1, 1, 1], center_mm=shift).mesh
    corners = np.concatenate([one.vertices, two.vertices])
    places, label = np.unique(corners, axis=0, return_inverse=True)
    return places, label.reshape(-1)[np.concatenate([one.faces, two.faces + len(one.vertices)])]


def apart(vertices, faces):
    parts = split_fans(vertices, faces)
    return ScanMesh(vertices=np.concatenate([vertices, vertices[parts.copy_of]]), faces=parts.faces), parts


def test_boxes_that_touch_along_an_edge_come_apart_as_two_solids():
    # Reference fact: welded, two such cubes have 14 vertices and are no longer watertight.
    vertices, faces = touching_boxes([1, 1, 0])
    assert len(vertices) == 14
    assert not examine(ScanMesh(vertices=vertices, faces=faces)).solid
    mesh, parts = apart(vertices, faces)
    assert (parts.edges, len(parts.copy_of)) == (1, 2)
    assert bodies(mesh.faces, len(mesh.vertices))[0] == 2
    assert certify(mesh).volume_mm3 == 2.0


def test_boxes_that_touch_in_a_corner_come_apart():
    vertices, faces = touching_boxes([1, 1, 1])
    mesh, parts = apart(vertices, faces)
    assert (parts.edges, len(parts.copy_of)) == (0, 1)
    assert bodies(mesh.faces, len(mesh.vertices))[0] == 2


def test_a_notch_that_meets_its_body_along_an_edge_stays_one_body_without_double_edges():
    # Two bars within one frame touch along an edge and hang together elsewhere.
    part = box([6, 6, 2]) - (box([2, 2, 4], center_mm=[-1, -1, 0]) + box([2, 2, 4], center_mm=[1, 1, 0]))
    places, label = np.unique(part.mesh.vertices.round(9), axis=0, return_inverse=True)
    faces = label.reshape(-1)[part.mesh.faces]
    assert edge_table(faces).non_manifold.sum() == 1
    mesh, _ = apart(places, faces)
    vertices, faces, parent = part_double_edges(mesh.vertices, mesh.faces)
    whole = ScanMesh(vertices=vertices, faces=faces)
    assert examine(whole).solid
    assert abs(certify(whole).volume_mm3 - (72 - 16)) < 0.02
    assert len(parent) == len(faces)


def test_a_sound_mesh_is_returned_as_it_is():
    cube = box([1, 2, 3]).mesh
    parts = split_fans(cube.vertices, cube.faces)
    np.testing.assert_array_equal(parts.faces, cube.faces)
    assert len(parts.copy_of) == parts.edges == 0


def test_edges_whose_triangles_run_the_same_way_are_opened():
    parts = split_fans(np.eye(4, 3), np.array([[0, 1, 2], [0, 1, 3]]))
    assert parts.edges == 1
    assert edge_table(parts.faces).open.sum() == 6

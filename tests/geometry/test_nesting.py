import numpy as np
import pytest

from mirrorprep.geometry.nesting import closed_bodies, nesting
from mirrorprep.geometry.topology import bodies, edge_table
from mirrorprep.solid.primitives import box, sphere


def joined(*meshes):
    faces, vertices, start = [], [], 0
    for mesh in meshes:
        faces.append(mesh.faces + start)
        vertices.append(mesh.vertices)
        start += len(mesh.vertices)
    return np.concatenate(vertices), np.concatenate(faces)


def nested(vertices, faces):
    table, body = edge_table(faces), bodies(faces, len(vertices))[1]
    closed = closed_bodies(table, body)
    return nesting(vertices, faces, body, closed, table), closed


def test_three_balls_in_each_other_have_depth_0_1_2():
    vertices, faces = joined(*(sphere(r, segments=24).mesh for r in (3.0, 9.0, 6.0)))
    nest, closed = nested(vertices, faces)
    assert closed.all()
    assert nest.depth().tolist() == [2, 0, 1]
    assert sorted(map(tuple, nest.inside.tolist())) == [(0, 1), (0, 2), (2, 1)]


def test_boxes_beside_each_other_do_not_enclose_even_within_the_other_ones_bounds():
    frame = box([10, 10, 10]) - box([8, 8, 20])
    vertices, faces = joined(frame.mesh, box([1, 1, 1]).mesh)
    assert nested(vertices, faces)[0].inside.tolist() == []


def test_an_open_hemisphere_has_the_volume_of_its_flat_closing():
    ball = sphere(10.0, segments=400).mesh
    half = ball.faces[(ball.vertices[ball.faces][:, :, 2] >= -1e-9).all(axis=1)]
    nest, closed = nested(ball.vertices, half)
    assert not closed.any()
    assert nest.volume_mm3[0] == pytest.approx(2 / 3 * np.pi * 1000, rel=2e-3)
    turned, _ = nested(ball.vertices, half[:, ::-1])
    assert turned.volume_mm3[0] == pytest.approx(-nest.volume_mm3[0])

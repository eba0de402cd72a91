import numpy as np

from mirrorprep.geometry.borders import border_groups, border_loops
from mirrorprep.geometry.topology import edge_table
from mirrorprep.solid.primitives import sphere


def with_holes(*centers, radius=3.0):
    ball = sphere(10.0, segments=60).mesh
    middles = ball.triangles.mean(axis=1)
    lost = np.any([np.linalg.norm(middles - center, axis=1) < radius for center in centers], axis=0)
    return ball.vertices, ball.faces[~lost]


def test_groups_have_the_count_length_and_place_of_the_loops():
    vertices, faces = with_holes([10, 0, 0], [0, 0, -10])
    table = edge_table(faces)
    groups = border_groups(vertices, table.edges[table.open])
    loops = border_loops(faces, table)
    assert sorted(groups.edges) == sorted(len(loop.corners) for loop in loops)
    lengths = [
        np.linalg.norm(np.diff(vertices[[*loop.corners, loop.corners[0]]], axis=0), axis=1).sum()
        for loop in loops
    ]
    np.testing.assert_allclose(sorted(groups.perimeter_mm), sorted(lengths))
    assert (np.diff(groups.perimeter_mm) <= 0).all()
    assert {tuple(np.argmax(np.abs(groups.center_mm), axis=1))} <= {(0, 2), (2, 0)}


def test_a_loop_runs_against_the_triangles_around_it():
    _, faces = with_holes([10, 0, 0])
    (loop,) = border_loops(faces, edge_table(faces))
    directed = {(a, b) for f in faces.tolist() for a, b in ((f[0], f[1]), (f[1], f[2]), (f[2], f[0]))}
    ring = [*loop.corners.tolist(), int(loop.corners[0])]
    for start, stop, wing in zip(ring[:-1], ring[1:], loop.wings.tolist(), strict=True):
        assert (stop, start) in directed
        assert (start, stop) not in directed
        assert {start, stop, wing} in [set(f) for f in faces[(faces == start).any(axis=1)].tolist()]
    assert ring[0] == min(ring)
    assert not loop.joined


def test_a_closed_surface_has_no_border():
    faces = sphere(10.0).mesh.faces
    assert border_loops(faces, edge_table(faces)) == []
    assert len(border_groups(np.zeros((0, 3)), np.zeros((0, 2), dtype=np.int64)).edges) == 0

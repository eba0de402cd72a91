import numpy as np

from mirrorprep.geometry.borders import Border, border_loops
from mirrorprep.geometry.coplanar_borders import join_coplanar
from mirrorprep.geometry.hole_filling import minimal_area_triangulation
from mirrorprep.geometry.topology import edge_table
from mirrorprep.solid.certify import certify
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.primitives import box, frustum


def open_at_the_bottom(solid):
    mesh = solid.mesh
    low = mesh.vertices[:, 2].min()
    flat = (mesh.vertices[mesh.faces][:, :, 2] <= low + 1e-9).all(axis=1)
    return mesh.vertices, mesh.faces[~flat]


def closed(vertices, faces):
    borders = join_coplanar(vertices, border_loops(faces, edge_table(faces)))
    patches = [b.corners[minimal_area_triangulation(vertices[b.corners])] for b in borders]
    return borders, ScanMesh(vertices=vertices, faces=np.concatenate([faces, *patches]))


def test_a_cut_pipe_is_closed_with_a_ring_not_with_two_discs():
    pipe = frustum([0, 0, 0], [0, 0, 10], start_radius_mm=8, stop_radius_mm=8) - frustum(
        [0, 0, -1], [0, 0, 11], start_radius_mm=5, stop_radius_mm=5
    )
    borders, mesh = closed(*open_at_the_bottom(pipe))
    assert len(borders) == 1
    assert borders[0].joined
    assert abs(certify(mesh).volume_mm3 - pipe.volume_mm3) < 1e-6


def test_several_inner_borders_are_joined_to_one_outer():
    posts = [box([2, 2, 30], center_mm=[x, y, 0]) for x in (-5, 0, 5) for y in (-4, 4)]
    part = box([20, 20, 10])
    for post in posts:
        part -= post
    borders, mesh = closed(*open_at_the_bottom(part))
    assert [len(b.corners) for b in borders] == [4 + 6 * (4 + 2)]
    assert abs(certify(mesh).volume_mm3 - part.volume_mm3) < 1e-6


def test_borders_in_different_planes_or_beside_each_other_stay_apart():
    part = box([4, 4, 4])
    mesh = part.mesh
    side = np.ptp(mesh.vertices[mesh.faces][:, :, 2], axis=1) == 0.0
    borders = border_loops(mesh.faces[~side], edge_table(mesh.faces[~side]))
    assert len(join_coplanar(mesh.vertices, borders)) == 2
    square = np.array([[0.0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]])
    beside = np.concatenate([square, square[::-1] + [3, 0, 0]])
    rims = [Border(corners=np.arange(4) + i, wings=np.zeros(4, dtype=np.int64)) for i in (0, 4)]
    assert len(join_coplanar(beside, rims)) == 2


def test_a_border_that_runs_the_same_way_is_an_island_and_stays_apart():
    square = np.array([[0.0, 0, 0], [9, 0, 0], [9, 9, 0], [0, 9, 0]])
    both = np.concatenate([square, square / 3 + 3])
    rims = [Border(corners=np.arange(4) + i, wings=np.zeros(4, dtype=np.int64)) for i in (0, 4)]
    assert len(join_coplanar(both, rims)) == 2

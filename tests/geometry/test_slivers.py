import numpy as np
import pytest

from mirrorprep.geometry.mass_properties import signed_volume_mm3
from mirrorprep.geometry.slivers import without_slivers
from mirrorprep.geometry.topology import edge_table
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.primitives import box, sphere
from mirrorprep.solid.rounding import welded_faults


def closed(faces):
    table = edge_table(faces)
    return bool(((table.forward == 1) & (table.backward == 1)).all())


def split_edge(vertices, faces, first, second, place):
    """Insert a vertex on an edge: both its triangles are divided."""
    new = len(vertices)
    made = []
    for face in faces.tolist():
        if first in face and second in face:
            (other,) = set(face) - {first, second}
            i, j = (first, second) if face[(face.index(first) + 1) % 3] == second else (second, first)
            made += [[i, new, other], [new, j, other]]
        else:
            made.append(face)
    return np.vstack([vertices, place]), np.array(made)


@pytest.fixture
def cube():
    mesh = box([100, 100, 100], center_mm=[200, 300, 400]).mesh
    return mesh.vertices, mesh.faces


def test_sound_mesh_is_left_alone():
    mesh = sphere(10.0).mesh
    clean = without_slivers(mesh.vertices, mesh.faces)
    assert (clean.collapsed_edges, clean.flipped_edges, clean.moved_vertices) == (0, 0, 0)
    assert np.array_equal(clean.vertices, mesh.vertices)
    assert np.array_equal(clean.faces, mesh.faces)


def test_short_edge_is_collapsed_onto_the_fixed_end(cube):
    vertices, faces = cube
    a, b = faces[0, :2].tolist()
    near = vertices[a] + 1e-6 * (vertices[b] - vertices[a]) / 100.0
    vertices, faces = split_edge(vertices, faces, a, b, near)
    assert welded_faults(ScanMesh(vertices=vertices, faces=faces)) != (0, 0)
    fixed = np.zeros(len(vertices), dtype=bool)
    fixed[-1] = True
    clean = without_slivers(vertices, faces, fixed=fixed)
    assert clean.collapsed_edges == 1
    assert clean.remaining == 0
    assert closed(clean.faces)
    assert (clean.vertices == near).all(axis=1).any()
    assert welded_faults(ScanMesh(vertices=clean.vertices, faces=clean.faces)) == (0, 0)
    assert signed_volume_mm3(clean.vertices, clean.faces) == pytest.approx(1e6, rel=1e-7)


def test_edge_between_fixed_vertices_stays(cube):
    vertices, faces = cube
    a, b = faces[0, :2].tolist()
    near = vertices[a] + 1e-6 * (vertices[b] - vertices[a]) / 100.0
    vertices, faces = split_edge(vertices, faces, a, b, near)
    clean = without_slivers(vertices, faces, fixed=np.ones(len(vertices), dtype=bool))
    assert clean.collapsed_edges == 0
    assert len(clean.vertices) == len(vertices)


def test_flat_triangle_is_flipped_away(cube):
    # A vertex 1e-7 mm beside a diagonal of a side: the triangle between it and the diagonal has no height.
    vertices, faces = cube
    table = edge_table(faces)
    lengths = np.linalg.norm(np.diff(vertices[table.edges], axis=1)[:, 0], axis=1)
    a, b = table.edges[int(np.argmax(lengths))].tolist()
    row = next(i for i, face in enumerate(faces.tolist()) if a in face and b in face)
    (c,) = set(faces[row].tolist()) - {a, b}
    middle = (vertices[a] + vertices[b]) / 2.0
    new = len(vertices)
    beside = middle + 1e-7 * (vertices[c] - middle) / np.linalg.norm(vertices[c] - middle)
    i, j = (a, b) if faces[row].tolist()[(faces[row].tolist().index(a) + 1) % 3] == b else (b, a)
    kept = np.delete(faces, row, axis=0)
    faces = np.vstack([kept, [[i, j, new], [j, c, new], [c, i, new]]])
    vertices = np.vstack([vertices, beside])
    assert closed(faces)
    clean = without_slivers(vertices, faces)
    assert clean.flipped_edges == 1
    assert clean.remaining == 0
    assert clean.largest_move_mm < 1e-6
    assert closed(clean.faces)
    assert signed_volume_mm3(clean.vertices, clean.faces) == pytest.approx(1e6, rel=1e-9)


def test_neck_that_cannot_be_collapsed_is_opened_instead():
    # A triangular neck 1e-6 mm wide between two tetrahedra: its edges close no face, so that collapsing one
    # would tear the surface.
    turn = np.array([[np.cos(t), np.sin(t)] for t in np.radians([0.0, 120.0, 240.0])])
    ring = np.column_stack([1e-6 * turn, np.zeros(3)])
    top, bottom = (
        np.column_stack([20 * turn, np.full(3, 60.0)]),
        np.column_stack([20 * turn, np.full(3, -60.0)]),
    )
    vertices = np.vstack([bottom, ring, top]) + [200.0, 300.0, 400.0]
    sides = []
    for low in (0, 3):
        for i in range(3):
            j = (i + 1) % 3
            sides += [[low + i, low + j, low + 3 + j], [low + i, low + 3 + j, low + 3 + i]]
    faces = np.array([*sides, [2, 1, 0], [6, 7, 8]])
    assert closed(faces)
    assert signed_volume_mm3(vertices, faces) > 0.0
    clean = without_slivers(vertices, faces)
    assert closed(clean.faces)
    assert clean.moved_vertices > 0
    assert clean.remaining == 0
    assert clean.largest_move_mm < 2e-4
    assert welded_faults(ScanMesh(vertices=clean.vertices, faces=clean.faces)) == (0, 0)


def test_input_is_not_changed(cube):
    vertices, faces = cube
    before = vertices.copy(), faces.copy()
    without_slivers(vertices, faces)
    assert np.array_equal(before[0], vertices)
    assert np.array_equal(before[1], faces)

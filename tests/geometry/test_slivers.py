import numpy as np
import pytest

from mirrorprep.geometry.mass_properties import signed_volume_mm3
from mirrorprep.geometry.self_intersection import meeting_pairs
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


def bent_row(count=30):
    """A bar whose upper edge carries many vertices beside a straight line by less than 32 bits can tell.

    The strip between them and the line is cut into slivers that look sound in double precision.
    """
    x = np.linspace(0.0, 9.0, count)
    x[1:-1] += np.random.default_rng(5).uniform(-0.1, 0.1, count - 2)
    bow = 3e-6 * np.sin(np.pi * x / 9.0)
    edge = np.column_stack([x, bow, np.zeros(count)])
    back, low = edge + [0.0, 5.0, -1.0], edge + [0.0, 0.0, -5.0]
    points = np.vstack([edge, back * [1, 0, 1] + [0, 5, 0], low * [1, 0, 1]]) + [70.0, 40.0, 60.0]
    first, last = np.arange(count - 1), np.arange(1, count)
    near, far, under = (0, count, 2 * count)
    quads = [(near, far), (far, under)]
    faces = [[a + i, a + j, b + j] for a, b in quads for i, j in zip(first, last, strict=True)]
    faces += [[a + i, b + j, b + i] for a, b in quads for i, j in zip(first, last, strict=True)]
    # The front ends at the chord from the first to the last vertex; slivers fill the bow from there.
    faces += [[near, under + count - 1, near + count - 1]]
    faces += [[near, under + i, under + j] for i, j in zip(first, last, strict=True)]
    faces += [[near + count - 1, near + j, near + i] for i, j in zip(first[1:], last[1:], strict=True)][:-1]
    faces += [[near, near + count - 1, near + 1]]
    faces += [[near, far, under], [near + count - 1, under + count - 1, far + count - 1]]
    return points, np.array(faces)


def crossing_when_rounded(vertices, faces):
    return len(meeting_pairs(vertices.astype(np.float32).astype(float), faces).all)


def test_row_of_slivers_along_an_edge_goes_and_the_volume_stays():
    vertices, faces = bent_row()
    if signed_volume_mm3(vertices, faces) < 0.0:
        faces = faces[:, ::-1]
    assert closed(faces)
    assert crossing_when_rounded(vertices, faces) > 0
    clean = without_slivers(vertices, faces)
    assert closed(clean.faces)
    assert clean.collapsed_edges > 0
    assert crossing_when_rounded(clean.vertices, clean.faces) == clean.crossing == 0
    volume = signed_volume_mm3(vertices, faces)
    assert signed_volume_mm3(clean.vertices, clean.faces) == pytest.approx(volume, rel=1e-14)
    # Corners of the bar are no crease to slide along: all eight stay.
    for corner in np.array([[0, 0, 0], [9, 0, 0], [0, 5, -1], [9, 5, -1]]) + [70.0, 40.0, 60.0]:
        assert np.linalg.norm(clean.vertices - corner, axis=1).min() < 1e-6

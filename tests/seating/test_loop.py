"""Loops of picked points: reading, closing, and the side they enclose."""

import numpy as np
import pytest

from mirrorprep.errors import GeometryError, InputFileError
from mirrorprep.geometry.geodesic import edge_graph
from mirrorprep.seating.loop import loop_field, loop_path, read_loop
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.primitives import box, sphere

BALL = sphere(20.0, segments=120).mesh


def ring(count=12, height=12.0):
    angles = np.linspace(0.0, 2.0 * np.pi, count + 1)
    radius = np.sqrt(400.0 - height**2)
    points = np.column_stack([radius * np.cos(angles), radius * np.sin(angles), np.full(count + 1, height)])
    points[-1] = points[0]
    return points


def field(mesh, points):
    return loop_field(mesh, points, graph=edge_graph(mesh.vertices, mesh.faces))


def test_the_smaller_side_is_negative():
    value = field(BALL, ring(24))
    clear = np.abs(BALL.vertices[:, 2] - 12.0) > 0.5
    np.testing.assert_array_equal(value[clear] < 0.0, BALL.vertices[clear, 2] > 12.0)


def test_direction_does_not_matter():
    clear = np.abs(BALL.vertices[:, 2] - 12.0) > 0.5
    one, other = field(BALL, ring()), field(BALL, ring()[::-1])
    np.testing.assert_array_equal(one[clear] < 0.0, other[clear] < 0.0)


def test_path_stays_on_the_surface_and_closes():
    path = loop_path(BALL, ring(8))
    assert path[0].tolist() == path[-1].tolist()
    assert np.abs(np.linalg.norm(path, axis=1) - 20.0).max() < 0.05
    assert np.linalg.norm(np.diff(path, axis=0), axis=1).max() < 1.0


def test_a_sheet_over_the_loop_is_not_met():
    # A plate hangs 1.5 mm over the loop's place; the loop must not be carried over to it.
    post = box([4, 4, 10], center_mm=[12, 0, 0])
    plates = box([40, 30, 4], center_mm=[0, 0, 0]) + box([40, 30, 4], center_mm=[0, 0, 5.5]) + post
    mesh = finely(plates.mesh, 5)
    angles = np.linspace(0.0, 2.0 * np.pi, 13)
    points = np.column_stack([-8 + 7 * np.cos(angles), 7 * np.sin(angles), np.full(13, 2.0)])
    points[-1] = points[0]
    inside = field(mesh, points) < 0.0
    assert inside.any()
    assert np.ptp(mesh.vertices[inside, 2]) < 1e-9


def finely(mesh, times=4):
    """Split every triangle in four, again and again."""
    vertices, faces = mesh.vertices, mesh.faces
    for _ in range(times):
        edges = np.sort(np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]), axis=1)
        unique, number = np.unique(edges, axis=0, return_inverse=True)
        a, b, c = np.split(number.ravel() + len(vertices), 3)
        vertices = np.concatenate([vertices, vertices[unique].mean(axis=1)])
        x, y, z = faces.T
        parts = [(x, a, c), (a, y, b), (c, b, z), (a, b, c)]
        faces = np.concatenate([np.column_stack(part) for part in parts])
    return ScanMesh(vertices=vertices, faces=faces)


@pytest.mark.parametrize(
    ("points", "message"),
    [
        (ring()[:-1], "not closed: its ends lie"),
        (ring(2), "has 2 points"),
        (ring() * 1.5, "off the donor scan"),
    ],
)
def test_bad_loops(points, message):
    with pytest.raises(GeometryError, match=message):
        loop_path(BALL, points)


def test_points_on_two_pieces():
    both = (sphere(20.0, segments=40) + sphere(5.0, center_mm=[40, 0, 0], segments=40)).mesh
    points = ring(4, 0.0)
    points[0] = points[-1] = [45.0, 0.0, 0.0]
    with pytest.raises(GeometryError, match="separate pieces"):
        loop_path(both, points)


def test_a_loop_that_parts_nothing():
    # Around the hole of a frame a loop has the same side on both sides.
    frame = finely((box([40, 40, 10]) - box([20, 20, 30])).mesh)
    points = np.array([[-15.0, -15, 5], [15, -15, 5], [15, 15, 5], [-15, 15, 5], [-15, -15, 5]])
    with pytest.raises(GeometryError, match="does not part"):
        field(frame, points)


def test_reading(tmp_path):
    file = tmp_path / "loop.txt"
    file.write_text("# around the ear\n1 2 3\n\n4 5 6 # top\n1 2 3\n")
    assert read_loop(file).tolist() == [[1, 2, 3], [4, 5, 6], [1, 2, 3]]


@pytest.mark.parametrize(
    ("text", "message"), [("1 2\n", "Line 1"), ("1 2 x\n", "Line 1"), ("1 2 nan\n", "finite")]
)
def test_unreadable_files(tmp_path, text, message):
    file = tmp_path / "loop.txt"
    file.write_text(text)
    with pytest.raises(InputFileError, match=message):
        read_loop(file)
    with pytest.raises(InputFileError, match="cannot be read"):
        read_loop(tmp_path / "absent.txt")

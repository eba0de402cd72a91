"""PLY: every encoding, lists, strips, colours, and damage."""

import numpy as np
import pytest

from mirrorprep.errors import InputFileError

ENCODINGS = ["ascii", "binary_little_endian", "binary_big_endian"]


@pytest.mark.parametrize("encoding", ENCODINGS)
@pytest.mark.parametrize(
    ("kind", "count", "index"), [("f4", "u1", "i4"), ("f8", "i4", "u2"), ("f4", "u2", "i4")]
)
def test_encodings_and_number_types(samples, read, codes, encoding, kind, count, index):
    points, faces = samples.torus()
    mesh = read(samples.ply(points, faces, encoding=encoding, kind=kind, count=count, index=index), "a.ply")
    np.testing.assert_array_equal(mesh.vertices, points)
    np.testing.assert_array_equal(mesh.faces, faces)
    assert codes(mesh) == []


@pytest.mark.parametrize("encoding", ENCODINGS)
def test_extra_properties_and_mixed_polygons(samples, read, codes, encoding):
    points, faces = samples.torus()
    cells = samples.quads()
    mesh = read(samples.ply(points, [*cells[:40], *faces[80:]], encoding=encoding, extra=True), "a.ply")
    np.testing.assert_array_equal(mesh.vertices, points)
    assert len(mesh.faces) == len(faces)
    np.testing.assert_array_equal(mesh.faces[80:], faces[80:])
    assert codes(mesh) == ["polygons-cut"]


@pytest.mark.parametrize("encoding", ENCODINGS)
def test_colors_are_carried(samples, read, encoding):
    points, faces = samples.torus()
    colors = np.random.default_rng(0).integers(0, 255, (len(points), 4)).astype(np.uint8)
    mesh = read(samples.ply(points, faces, encoding=encoding, colors=colors), "a.ply")
    np.testing.assert_array_equal(mesh.colors, colors)


@pytest.mark.parametrize("encoding", ENCODINGS)
def test_triangle_strips(samples, read, encoding):
    """A strip turns every second triangle; −1 starts anew; the faces keep one winding."""
    points, _ = samples.torus()
    strips = [[0, 1, 2, 3, -1, 4, 5, 6], [7, 8, 9]]
    mesh = read(samples.ply(points, strips, encoding=encoding, strips=True), "a.ply")
    assert mesh.faces.tolist() == [[0, 1, 2], [2, 1, 3], [4, 5, 6], [7, 8, 9]]


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("encoding", ENCODINGS)
def test_line_ends_of_the_header(samples, read, end, encoding):
    points, faces = samples.torus()
    points[0, 0] = np.frombuffer(b"\n\0\0\0" if "little" in encoding else b"\0\0\0\0", "<f4")[0]
    mesh = read(samples.ply(points, faces, encoding=encoding, end=end), "a.ply")
    np.testing.assert_array_equal(mesh.vertices, points)


def test_elements_in_any_order_and_unknown_ones(read):
    data = (
        b"ply\nformat ascii 1.0\nelement camera 1\nproperty list uchar float row\nproperty int a\n"
        b"element face 1\nproperty list uchar int vertex_index\nelement vertex 3\nproperty float y\n"
        b"property float x\nproperty float z\nelement edge 1\nproperty int v\nend_header\n"
        b"2 0.5 0.25 7\n3 0 1 2\n0 1 0\n0 2 0\n3 0 0\n9\n"
    )
    mesh = read(data, "a.ply")
    assert mesh.vertices.tolist() == [[1, 0, 0], [2, 0, 0], [0, 3, 0]]


def test_byte_order_mark_in_front(samples, read):
    mesh = read(b"\xef\xbb\xbf" + samples.ply(*samples.torus(), encoding="ascii"), "a.ply")
    assert len(mesh.faces) == 192


def test_float_colors(read):
    data = (
        b"ply\nformat ascii 1.0\nelement vertex 3\nproperty float x\nproperty float y\nproperty float z\n"
        b"property float r\nproperty float g\nproperty float b\nelement face 1\n"
        b"property list uchar int vertex_indices\nend_header\n"
        b"0 0 0 0 0.5 1\n1 0 0 1 0 0\n0 1 0 nan 2e-3 0\n3 0 1 2\n"
    )
    assert read(data, "a.ply").colors.tolist() == [[0, 128, 255, 255], [255, 0, 0, 255], [0, 1, 0, 255]]


def test_missing_vertices_of_a_grid_are_dropped_with_a_note(read, codes):
    """Scanners mark missing points of a grid with NaN; no triangle uses them."""
    data = (
        b"ply\nformat ascii 1.0\nelement vertex 4\nproperty float x\nproperty float y\nproperty float z\n"
        b"element face 1\nproperty list uchar int vertex_indices\nend_header\n"
        b"nan nan nan\n0 0 0\n1 0 0\n0 1 0\n3 1 2 3\n"
    )
    mesh = read(data, "a.ply")
    assert codes(mesh) == ["empty-vertices"]
    assert mesh.faces.tolist() == [[0, 1, 2]]


def test_trailing_bytes_are_a_caution(samples, read, codes):
    assert codes(read(samples.ply(*samples.torus()) + b"xx", "a.ply")) == ["trailing-bytes"]


HEAD = b"ply\nformat binary_little_endian 1.0\nelement vertex 3\nproperty float x\nproperty float y\n"
TRIANGLE = HEAD + b"property float z\nelement face 1\nproperty list uchar int vertex_indices\nend_header\n"
POINTS = np.eye(3, dtype="<f4").tobytes()


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (TRIANGLE + POINTS + b"\3" + np.array([0, 1, 3], "<i4").tobytes(), "vertex index 3 counted from 0"),
        (TRIANGLE + POINTS + b"\4" + np.array([0, 1, 2, -1], "<i4").tobytes(), "index -1"),
        (TRIANGLE + POINTS + b"\3\0\0", "cut short or damaged in row 1 of 1 of 'face'"),
        (TRIANGLE + POINTS[:-1], "take at least 36 bytes, 35 are left"),
        (TRIANGLE.replace(b"vertex 3", b"vertex 2147483648") + POINTS, "2147483648 rows"),
        (TRIANGLE.replace(b"vertex 3", b"vertex 30000000") + POINTS, "take at least 360000000 bytes"),
        (TRIANGLE.replace(b"vertex 3", b"vertex -3") + POINTS, "Line 3 of the PLY header"),
        (TRIANGLE.replace(b"float x", b"quad x"), "Line 4 of the PLY header"),
        (TRIANGLE.replace(b"list uchar", b"list float"), "Line 8 of the PLY header"),
        (TRIANGLE.replace(b"float x", b"float q") + POINTS + b"\3" + b"\0" * 12, "no x, y and z"),
        (
            TRIANGLE.replace(b"vertex_indices", b"other") + POINTS + b"\3" + b"\0" * 12,
            "no list of vertex ind",
        ),
        (TRIANGLE.replace(b"little", b"middle"), "binary_middle_endian 1.0' is none of"),
        (TRIANGLE.replace(b"format", b"comment"), "does not state the format"),
        (TRIANGLE.replace(b"element face", b"element vertex") + POINTS, "'vertex' twice"),
        (TRIANGLE[:90], "does not end"),
        (b"ply\nformat ascii 1.0\nwhatever\nend_header\n", "Line 3 of the PLY header is not understood"),
        (b"ply\nformat ascii 1.0\nproperty float x\nend_header\n", "Line 3"),
        (b"ply of nothing", "does not end"),
    ],
)
def test_refusals(read, data, words):
    with pytest.raises(InputFileError, match=words):
        read(data, "a.ply")


ASCII = TRIANGLE.replace(b"binary_little_endian", b"ascii")


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        (b"0 0 0\n1 0 0\n0 1\n", "take at least 9 numbers, 8 are left"),
        (b"0 0 0\n1 0 0\n0 1 x\n3 0 1 2\n", "Line 12 holds 'x'"),
        (b"0 0 0\n1 0 0\n0 1 0\n3 0 1\n", "row 1 of 1 of 'face'"),
        (b"0 0 0\n1 0 0\n0 1 0\n-3 0 1 2\n", "row 1 of 1 of 'face'"),
        (b"0 0 0\n1 0 0\n0 1 0\n3e9 0 1 2\n", "row 1 of 1 of 'face'"),
        (b"0 0 0\n1 0 0\n0 1 0\n3 0 1 nan\n", "index -1"),
        (
            b"0 0 0\n1 0 inf\n0 1 0\n3 0 1 2\n",
            "1 vertices have a coordinate that is not a finite .*first: vertex 2",
        ),
        (b"0 0 0\n1 0 1e30\n0 1 0\n3 0 1 2\n", "beyond 1e.09 mm from the origin .first: vertex 2"),
        (b"0 0 0\n" + b" " * 2**20 + b"1 0 1e30\n0 1 0\n3 0 1 2\n", "Line 11 has 1048585 bytes"),
    ],
)
def test_ascii_refusals(read, rows, words):
    with pytest.raises(InputFileError, match=words):
        read(ASCII + rows, "a.ply")


def test_agrees_with_vtk(samples, read, tmp_path):
    """Judge: VTK's PLY reader, through pyvista."""
    pyvista = pytest.importorskip("pyvista")
    points, faces = samples.torus(30, 20)
    for encoding in ENCODINGS:
        mesh = read(samples.ply(points, faces, encoding=encoding), "a.ply")
        judge = pyvista.read(tmp_path / "a.ply")
        np.testing.assert_array_equal(judge.points, mesh.vertices.astype(np.float32))
        np.testing.assert_array_equal(judge.regular_faces, mesh.faces)


@pytest.mark.parametrize(
    ("name", "counts"), [("nut.ply", (523, 1046)), ("sphere.ply", (422, 840)), ("ant.ply", (486, 912))]
)
def test_meshes_of_an_installed_package(name, counts):
    """Counts from check-values section 9, measured with four libraries."""
    examples = pytest.importorskip("pyvista.examples")
    from pathlib import Path

    from mirrorprep.intake.read import read_scan

    mesh = read_scan(Path(examples.dir_path) / name, "mm")
    assert (len(mesh.vertices), len(mesh.faces)) == counts

"""OFF: words in front, colours behind, line ends or none, and the binary form."""

import numpy as np
import pytest

from mirrorprep.errors import InputFileError


@pytest.mark.parametrize("end", ["\n", "\r\n", " # comment\n"])
@pytest.mark.parametrize("face_colors", [False, True])
def test_plain(samples, read, codes, end, face_colors):
    points, faces = samples.torus()
    mesh = read(samples.off(points, faces, end=end, face_colors=face_colors), "a.off")
    np.testing.assert_array_equal(mesh.vertices, points)
    np.testing.assert_array_equal(mesh.faces, faces)
    assert codes(mesh) == []


def test_colors(samples, read):
    points, faces = samples.torus()
    colors = np.random.default_rng(0).integers(0, 255, (len(points), 4)).astype(np.uint8)
    mesh = read(samples.off(points, faces, word="COFF", colors=colors, face_colors=True), "a.off")
    np.testing.assert_array_equal(mesh.colors, colors)


def test_numbers_behind_the_word_and_without_lines(samples, read):
    points, faces = samples.torus()
    text = samples.off(points, faces)
    glued = text.replace(b"OFF\n", b"OFF", 1)
    np.testing.assert_array_equal(read(glued, "a.off").faces, faces)
    np.testing.assert_array_equal(read(text.replace(b"\n", b" "), "b.off").faces, faces)


def test_normals_and_texture_are_skipped(read):
    text = b"# first\nSTNOFF\n3 1 0\n0 0 0 0 0 1 5 5\n1 0 0 0 0 1 5 5\n0 1 0 0 0 1 5 5\n3 0 1 2\n"
    mesh = read(text, "a.off")
    assert mesh.vertices.tolist() == [[0, 0, 0], [1, 0, 0], [0, 1, 0]]
    assert mesh.colors is None


def test_binary(samples, read):
    points, faces = samples.torus()
    mesh = read(samples.off_binary(points, faces), "a.off")
    np.testing.assert_array_equal(mesh.vertices, points)
    np.testing.assert_array_equal(mesh.faces, faces)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (b"OFF\n", "does not state how many"),
        (b"OFF\n0 0 0\n", "no triangles"),
        (b"OFF\n3 0 0\n0 0 0\n1 0 0\n0 1 0\n", "3 points but no triangles"),
        (b"OFF\n2147483648 1 0\n0 0 0\n", "count of 2.14748e.09"),
        (b"OFF\n3.5 1 0\n", "count of 3.5"),
        (b"OFF\n30000000 10000000 0\n0 0 0\n", "cut short"),
        (b"OFF\n3 1 0\n0 0 0\n1 0 0\n0 1 0\n4 0 1 2\n", "Face 1 states 4 corners, but its line holds fewer"),
        (b"OFF\n3 1 0\n0 0 0\n1 0 0\n0 1 0\n3 0 1 3\n", "index 3 counted from 0"),
        (b"OFF\n3 1 0\n0 0 0\n1 0 0\n0 1 0\n3 0 1 1.5\n", "not whole"),
        (b"OFF\n3 1 0\n0 0 0\n1 0 0\n0 1 0\n-3 0 1 2\n", "states -3 corners"),
        (b"OFF\n3 1 0\n0 0 0\n1 0 0\n0 a 0\n3 0 1 2\n", "Line 5 holds 'a'"),
        (b"OFF 3 2 0 0 0 0 1 0 0 0 1 0 3 0 1 2 9 1", "Face 2 states 9 corners"),
        (b"4OFF\n1 1 1\n", "kind '4OFF'"),
        (b"OFF BINARY\n\0\0", "does not state"),
        (b"OFF BINARY\n\0\0\0\3\0\0\0\1\0\0\0\0" + b"\0" * 36 + b"\0\0\0\3\0\0\0\0", "cut short"),
        (b"OFF\n\0\1\2", "binary"),
    ],
)
def test_refusals(read, text, words):
    with pytest.raises(InputFileError, match=words):
        read(text, "a.off")


def test_agrees_with_trimesh(samples, read, tmp_path):
    """Judge: trimesh's OFF reader, without merging."""
    trimesh = pytest.importorskip("trimesh")
    points, faces = samples.torus(30, 20)
    mesh = read(samples.off(points, faces), "a.off")
    judge = trimesh.load_mesh(tmp_path / "a.off", process=False)
    np.testing.assert_array_equal(judge.vertices, mesh.vertices)
    np.testing.assert_array_equal(judge.faces, mesh.faces)

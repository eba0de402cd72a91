"""OBJ: indices of both kinds, polygons, colours, encodings, and damage."""

import numpy as np
import pytest

from mirrorprep.errors import InputFileError


@pytest.mark.parametrize("relative", [False, True])
@pytest.mark.parametrize("texture", [False, True])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_indices_and_line_ends(samples, read, codes, relative, texture, end):
    points, faces = samples.torus()
    mesh = read(samples.obj(points, faces, relative=relative, texture=texture, end=end), "a.obj")
    np.testing.assert_array_equal(mesh.vertices, points)
    np.testing.assert_array_equal(mesh.faces, faces)
    assert codes(mesh) == []


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-be", "utf-32"])
def test_encodings(samples, read, encoding):
    points, faces = samples.torus()
    text = samples.obj(points, faces, head="# größer\n", end="\r\n").decode()
    mark = "\ufeff" if encoding == "utf-16-be" else ""
    mesh = read((mark + text).encode(encoding), "a.obj")
    np.testing.assert_array_equal(mesh.faces, faces)


def test_relative_indices_refer_to_the_vertices_so_far(read):
    text = b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf -3 -2 -1\nv 0 0 5\nv 1 0 5\nv 0 1 5\nf -3//-1 -2 -1/-1\nf 1 2 -1\n"
    assert read(text, "a.obj").faces.tolist() == [[0, 1, 2], [3, 4, 5], [0, 1, 5]]


def test_relative_indices_across_blocks(samples, read, monkeypatch):
    monkeypatch.setattr("mirrorprep.intake.text._BLOCK_BYTES", 64)
    points, faces = samples.torus()
    lines = samples.obj(points, faces, relative=True)
    np.testing.assert_array_equal(read(lines, "a.obj").faces, faces)


def test_polygons_keep_area_and_winding(samples, read, codes):
    points, faces = samples.torus()
    mesh = read(samples.obj(points, samples.quads()), "a.obj")
    whole = read(samples.obj(points, faces), "b.obj")
    assert codes(mesh) == ["polygons-cut"]
    normals = [np.cross(t[:, 1] - t[:, 0], t[:, 2] - t[:, 0]) for t in (mesh.triangles, whole.triangles)]
    assert (np.einsum("ij,ij->i", *normals) > 0).all()


def test_colors_behind_the_coordinates(samples, read):
    points, faces = samples.torus()
    colors = np.random.default_rng(0).integers(0, 255, (len(points), 4)).astype(np.uint8)
    mesh = read(samples.obj(points, faces, colors=colors), "a.obj")
    np.testing.assert_array_equal(mesh.colors[:, :3], colors[:, :3])
    assert (mesh.colors[:, 3] == 255).all()


def test_comments_continuations_groups_and_odd_spacing(read, codes):
    text = b"""
# a comment
mtllib none.mtl
o first
\tv  0 0 0   # the corner
v 1 0 \\
0
V 0\t1 0
g group
usemtl red
s off
vt 0 0
  f  1/1   2/1\t3/1
o second
f 1 3 2 # turned
"""
    mesh = read(text, "a.obj")
    assert mesh.faces.tolist() == [[0, 1, 2], [0, 2, 1]]
    assert mesh.vertices.tolist() == [[0, 0, 0], [1, 0, 0], [0, 1, 0]]
    assert codes(mesh) == ["several-objects"]


def test_weights_are_noted_and_not_applied(read, codes):
    mesh = read(b"v 0 0 0 1\nv 1 0 0 2\nv 0 1 0 1\nf 1 2 3\n", "a.obj")
    assert codes(mesh) == ["weights-ignored"]
    assert mesh.vertices[1].tolist() == [1, 0, 0]


def test_faces_of_two_corners_are_left_out_with_a_caution(read, codes):
    mesh = read(b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2\nf 1 2 3\n", "a.obj")
    assert codes(mesh) == ["short-faces"]
    assert len(mesh.faces) == 1


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (b"v 0 0\nf 1 1 1\n", "Line 1 holds a vertex of fewer than three"),
        (b"v 0 0 0\nv 1 1 1\nv 1 2 q\nf 1 2 3\n", "Line 3 holds 'q'"),
        (b"v 0 0 0\nv 1 1 1\nv 1 2 3\nf 1 2 4\n", "face 1, vertex index 3 counted from 0; the file holds 3"),
        (b"v 0 0 0\nv 1 1 1\nv 1 2 3\nf 1 2 0\n", "face on line 4 refers to vertex 0"),
        (b"v 0 0 0\nv 1 1 1\nv 1 2 3\nf 1 2 -4\n", "face on line 4 refers to vertex -4"),
        (b"v 0 0 0\nv 1 1 1\nv 1 2 3\nf 1 2 x\n", "Line 4 holds 'x'"),
        (b"v 0 0 0\nv 1 1 1\nv 1 2 3\nf 1 2.5 3\n", "Line 4 holds '2.5'"),
        (b"v 0 0 0\nv 1 1 1\nv 1 2 3\nf 1 2 /3\n", "Line 4 holds '/3'"),
        (b"v 0 0 0\nv 1 1 1\nv 1 2 3\nf 1 2 99999999999999999999\n", "9223372036854775806"),
        (
            b"v 0 0 0\nv nan 1 1\nv 1 2 3\nf 1 2 3\n",
            "not a finite number, and 1 triangles use them .first: vertex 2",
        ),
        (b"v 0 0 0\nv 1 1 1\nl 1 2\n", "2 points and 1 lines but no triangles"),
        (b"# nothing\no empty\n", "no triangles"),
        (b"v 0 0 0\n" + b"# " + b"x" * 2**21, "Line 2 has 2097155 bytes"),
        (b"\xff\xfev\0 \0\x00\xd8x", "not valid UTF-16"),
        (b"\xef\xbb\xbf", "holds no triangles"),
        (b"\xff\xfe", "holds no triangles"),
        (b"v 1 2 3\n\0\0\0", "binary, not the text"),
    ],
)
def test_refusals(read, text, words):
    with pytest.raises(InputFileError, match=words):
        read(text, "a.obj")


def test_agrees_with_vtk(samples, read, tmp_path):
    """Judge: VTK's OBJ reader, through pyvista."""
    pyvista = pytest.importorskip("pyvista")
    points, faces = samples.torus(30, 20)
    mesh = read(samples.obj(points, faces), "a.obj")
    judge = pyvista.read(tmp_path / "a.obj")
    np.testing.assert_array_equal(judge.points, mesh.vertices.astype(np.float32))
    np.testing.assert_array_equal(judge.regular_faces, mesh.faces)

"""STL: both kinds, their sizes, and the ways in which transfers destroy them."""

import numpy as np
import pytest

from mirrorprep.errors import InputFileError
from mirrorprep.geometry.topology import edge_table


def as_soup(points, faces):
    return points[faces].astype(np.float64).reshape(-1, 3)


def test_binary_is_welded_into_a_closed_surface(samples, read, codes):
    points, faces = samples.torus()
    mesh = read(samples.stl_binary(points, faces), "a.stl")
    assert mesh.origin.format == "stl"
    assert len(mesh.vertices) == len(points)
    assert not edge_table(mesh.faces).open.any()
    np.testing.assert_array_equal(mesh.triangles.reshape(-1, 3), as_soup(points, faces))
    assert codes(mesh) == []


def test_binary_that_begins_with_solid(samples, read):
    """The size 84 + 50 n decides (check-values section 5: STL binary size)."""
    points, faces = samples.torus()
    mesh = read(samples.stl_binary(points, faces, header=b"solid facet endsolid"), "a.stl")
    np.testing.assert_array_equal(mesh.triangles.reshape(-1, 3), as_soup(points, faces))


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("upper", [False, True])
def test_ascii_in_any_case_and_with_any_line_end(samples, read, end, upper):
    points, faces = samples.torus()
    mesh = read(samples.stl_ascii(points, faces, end=end, upper=upper), "a.stl")
    np.testing.assert_array_equal(mesh.triangles.reshape(-1, 3), as_soup(points, faces))
    assert len(mesh.vertices) == len(points)


def test_several_solids_are_one_mesh_with_a_note(samples, read, codes):
    points, faces = samples.torus()
    data = samples.stl_ascii(points, faces[:50]) + b"\n\n" + samples.stl_ascii(points, faces[50:], name="")
    mesh = read(data, "a.stl")
    assert codes(mesh) == ["several-objects"]
    assert len(mesh.faces) == len(faces)


def test_welding_is_by_equal_bits_only(samples, read):
    points, faces = samples.torus()
    corners = points[faces].copy()
    corners[0, 0, 0] = np.nextafter(corners[0, 0, 0], np.float32(99))
    moved = corners.reshape(-1, 3)
    mesh = read(samples.stl_binary(moved, np.arange(len(moved)).reshape(-1, 3)), "a.stl")
    assert len(mesh.vertices) == len(points) + 1


def test_attribute_bytes_are_a_note(samples, read, codes):
    mesh = read(samples.stl_binary(*samples.torus(), attribute=3), "a.stl")
    assert codes(mesh) == ["stl-attributes"]


def test_trailing_bytes_are_a_caution(samples, read, codes):
    mesh = read(samples.stl_binary(*samples.torus()) + b"\n", "a.stl")
    assert codes(mesh) == ["trailing-bytes"]


def test_missing_end_is_a_caution(samples, read, codes):
    data = samples.stl_ascii(*samples.torus())
    assert codes(read(data[: data.rindex(b"endsolid")], "a.stl")) == ["cut-short"]


def refusals(samples):
    points, faces = samples.torus()
    binary, ascii_ = samples.stl_binary(points, faces), samples.stl_ascii(points, faces)
    text = ascii_.decode()
    return {
        "truncated binary": (
            binary[:-30],
            "states 192 triangles, which take 9684 bytes, but the file has 9654",
        ),
        "absurd count": (binary[:80] + b"\xff\xff\xff\x7f" + binary[84:100], "2147483647 triangles"),
        "no count": (binary[:80] + b"\0\0\0\0" + binary[84:], "states 0 triangles"),
        "header only": (binary[:60], "at least 84"),
        "empty binary": (b"\0" * 84, "holds no triangles"),
        "utf-8 conversion": (binary.decode("utf-8", "replace").encode(), "EF BF BD"),
        "cut in a facet": (ascii_[: ascii_.rindex(b"vertex")], "192 facets begin, but 575 corners"),
        "cut in a line": (ascii_[: len(ascii_) // 2], "Line 677 does not hold three coordinates"),
        "empty ascii": (b"solid a\nendsolid a\n", "holds no triangles"),
        "word for number": (text.replace("vertex ", "vertex x", 1).encode(), "Line 4 .*'x"),
        "decimal comma": (text.replace(".", ",", 1).encode(), "decimal point"),
        "two coordinates": (b"solid a\nfacet\nouter loop\nvertex 1 2\n", "Line 4 .*three coordinates"),
        "four corners": (text.replace("endloop", "vertex 1 2 3\nendloop", 1).encode(), "three corners"),
        "not STL": (b"some words\n" * 20, "neither a binary STL"),
        "damaged": (b"\0\1\2\3" * 100, "cut short or damaged"),
    }


@pytest.mark.parametrize(
    "case",
    [
        "truncated binary",
        "absurd count",
        "no count",
        "header only",
        "empty binary",
        "utf-8 conversion",
        "cut in a facet",
        "cut in a line",
        "empty ascii",
        "word for number",
        "decimal comma",
        "two coordinates",
        "four corners",
        "not STL",
        "damaged",
    ],
)
def test_refusals(samples, read, case):
    data, words = refusals(samples)[case]
    with pytest.raises(InputFileError, match=words):
        read(data, "a.stl")


def test_text_mode_transfer_is_named(samples, read):
    points, faces = samples.torus()
    points[0, 0] = np.frombuffer(b"\n\n\n\x41", "<f4")[0]
    binary = samples.stl_binary(points, faces)
    with pytest.raises(InputFileError, match=r"text-mode transfer .* Transfer the file again"):
        read(binary.replace(b"\n", b"\r\n"), "a.stl")


def test_counts_and_coordinates_agree_with_vtk(samples, read, tmp_path):
    """Judge: VTK's STL reader, through pyvista, which merges equal corners too."""
    pyvista = pytest.importorskip("pyvista")
    points, faces = samples.torus(40, 30)
    for name, data in (("a", samples.stl_binary(points, faces)), ("b", samples.stl_ascii(points, faces))):
        mesh = read(data, f"{name}.stl")
        judge = pyvista.read(tmp_path / f"{name}.stl")
        assert judge.n_cells == len(mesh.faces)
        assert judge.n_points == len(mesh.vertices)
        np.testing.assert_array_equal(judge.points[judge.regular_faces], mesh.triangles.astype(np.float32))

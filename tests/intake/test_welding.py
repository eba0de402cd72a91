"""Welding: what joins, what stays apart, and what is said about it."""

import numpy as np
import pytest

from mirrorprep.errors import UsageError
from mirrorprep.geometry.topology import edge_table


def two_touching_boxes(samples):
    """Two closed boxes that share the place of one edge, as an indexed file."""
    box = np.array([[x, y, z] for x in (0.0, 1) for y in (0.0, 1) for z in (0.0, 1)])
    faces = [[0, 1, 3, 2], [4, 6, 7, 5], [0, 4, 5, 1], [2, 3, 7, 6], [0, 2, 6, 4], [1, 5, 7, 3]]
    second = [[k + 8 for k in face] for face in faces]
    return np.concatenate([box, box + np.array([1, 1, 0])]), faces + second


@pytest.mark.parametrize("kind", ["obj", "ply", "off"])
def test_indexed_bodies_are_never_merged_unasked(samples, read, codes, kind):
    """libraries.md: merging two cubes that share an edge gives 14 vertices and an edge of four faces."""
    points, cells = two_touching_boxes(samples)
    data = getattr(samples, kind)(points, cells)
    mesh = read(data, f"a.{kind}")
    assert len(mesh.vertices) == 16
    assert not edge_table(mesh.faces).non_manifold.any()
    assert "shared-places" in codes(mesh)
    welded = read(data, f"a.{kind}", weld_mm=0.0)
    assert len(welded.vertices) == 14
    assert edge_table(welded.faces).non_manifold.sum() == 1
    assert "welded" in codes(welded)


@pytest.mark.parametrize("kind", ["obj", "ply"])
def test_indexed_soup_is_noted_and_weldable(samples, read, kind):
    points, faces = samples.torus()
    soup, cells = points[faces].reshape(-1, 3), np.arange(3 * len(faces)).reshape(-1, 3)
    colors = np.repeat(np.arange(len(soup), dtype=np.uint8)[:, None], 4, axis=1)
    data = getattr(samples, kind)(soup, cells, colors=colors)
    mesh = read(data, f"a.{kind}")
    note = next(f for f in mesh.origin.findings if f.code == "shared-places")
    assert note.message.startswith("No two triangles share a vertex")
    assert note.measured == 3 * len(faces) - len(points)
    welded = read(data, f"a.{kind}", weld_mm=0.0)
    assert not edge_table(welded.faces).open.any()
    assert len(welded.colors) == len(points)
    np.testing.assert_array_equal(welded.triangles, mesh.triangles)


def test_tolerance_is_in_millimetres_whatever_the_unit(samples, read, codes):
    points, faces = samples.torus()
    corners = points[faces].astype(np.float64).reshape(-1, 3)
    corners += np.random.default_rng(0).uniform(-1e-3, 1e-3, corners.shape)
    data = samples.stl_ascii(corners, np.arange(len(corners)).reshape(-1, 3))
    assert edge_table(read(data, "a.stl").faces).open.any()
    welded = read(data, "a.stl", "cm", weld_mm=0.1)
    assert len(welded.vertices) == len(points)
    assert not edge_table(welded.faces).open.any()
    finding = next(f for f in welded.origin.findings if f.code == "welded")
    assert "within 0.1 mm joined 480 vertices, 0 of them at exactly" in finding.message
    assert len(read(data, "b.stl", "mm", weld_mm=0.001).vertices) > len(points)
    assert codes(welded) == ["welded"]


def test_tolerance_that_leaves_nothing(samples, read):
    with pytest.raises(UsageError, match=r"tolerance of 1e\+06 mm leaves none of the 192 triangles"):
        read(samples.obj(*samples.torus()), "a.obj", weld_mm=1e6)

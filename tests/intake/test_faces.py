"""Polygons, strips and fans."""

import numpy as np
import pytest

from mirrorprep.errors import InputFileError
from mirrorprep.intake.faces import fan_faces, polygon_faces, strip_faces


def test_strip_keeps_the_winding():
    """The normals of a flat strip all point the same way."""
    x, y = np.meshgrid(np.arange(5.0), [0.0, 1.0], indexing="ij")
    points = np.column_stack([x.ravel(), y.ravel(), np.zeros(10)])
    triangles = points[strip_faces(np.arange(10))]
    normals = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    assert len(triangles) == 8
    assert (normals[:, 2] == normals[0, 2]).all()


def test_strip_restarts_and_drops_stitches():
    assert strip_faces(np.array([0, 1, 2, -1, 3, 4, 5, 5, 6])).tolist() == [[0, 1, 2], [3, 4, 5]]
    assert strip_faces(np.array([-1, -1, 0, 1, 2])).tolist() == [[0, 1, 2]]
    assert strip_faces(np.array([0, 1])).shape == (0, 3)


def test_fan():
    assert fan_faces(np.array([5, 1, 2, 3])).tolist() == [[5, 1, 2], [5, 2, 3]]
    assert fan_faces(np.array([5, 1])).shape == (0, 3)


def test_concave_and_impossible_polygons_are_told_apart():
    points = np.array([[0.0, 0, 0], [4, 0, 0], [4, 4, 0], [2, 1, 0], [0, 4, 0], [8, 0, 0], [9, 0, 0]])
    faces, findings = polygon_faces(points, np.array([5, 4, 2]), np.array([0, 1, 2, 3, 4, 0, 1, 5, 6, 0, 1]))
    assert len(faces) == 5
    assert [f.code for f in findings] == ["short-faces", "polygons-cut", "polygons-forced"]


def test_first_wrong_corner_is_named():
    with pytest.raises(InputFileError, match=r"2 face corners .*face 2, vertex index 7 "):
        polygon_faces(np.eye(3), np.array([3, 4]), np.array([0, 1, 2, 0, 7, -1, 2]))

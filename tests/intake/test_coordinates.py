"""Coordinates that are refused or cautioned against, with count and place."""

import numpy as np
import pytest

from mirrorprep.errors import InputFileError


def test_not_a_number_is_counted_and_placed(samples, read):
    points, faces = samples.torus()
    corners = points[faces].reshape(-1, 3).copy()
    corners[[70, 80], 1] = np.nan, np.inf
    with pytest.raises(InputFileError, match=r"2 corners .* \(first: triangle 24\)"):
        read(samples.stl_binary(corners, np.arange(len(corners)).reshape(-1, 3)), "a.stl")


def test_huge_coordinates_are_counted_and_placed(samples, read):
    points, faces = samples.torus()
    points[5] = -3e12
    with pytest.raises(InputFileError, match=r"1 vertices lie beyond .*vertex 6 at 3e\+12 mm"):
        read(samples.obj(points, faces), "a.obj")


def test_mesh_without_size(samples, read):
    with pytest.raises(InputFileError, match="All 9 vertices lie in one point"):
        read(samples.stl_binary(np.ones((3, 3), dtype=np.float32), np.array([[0, 1, 2]] * 3)), "a.stl")

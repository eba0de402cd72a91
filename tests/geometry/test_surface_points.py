"""Spread of points over a surface."""

import numpy as np
import pytest

from mirrorprep.geometry.surface_points import surface_points
from mirrorprep.solid.primitives import box


def test_points_lie_on_the_faces_and_are_spread_by_area():
    mesh = box([2, 4, 8]).mesh
    points, normals = surface_points(mesh.vertices, mesh.faces, count=11_200, seed=1)
    on_x = np.abs(normals[:, 0]) > 0.5
    assert np.abs(points[on_x, 0]) == pytest.approx(np.ones(on_x.sum()), abs=1e-12)
    assert on_x.sum() == pytest.approx(11_200 * 64 / 112, abs=8)
    assert np.linalg.norm(normals, axis=1) == pytest.approx(1.0)

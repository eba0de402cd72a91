"""The landscape for the page: unit directions, shares of the volume, the best first."""

import numpy as np
import pytest

from mirrorprep.bench.landscape import landscape_data
from mirrorprep.errors import NotASolidError
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.primitives import box


def test_a_channel_is_best_pulled_along_its_mouth():
    part = box([30, 30, 30]) - box([20, 40, 10], center_mm=[-5, 0, 0])
    land = landscape_data(part.mesh)
    directions, share = np.array(land["directions"]), np.array(land["share"])
    assert np.linalg.norm(directions, axis=1) == pytest.approx(1.0)
    upright = np.abs(directions[:, 2]) > 0.999
    assert share[upright] == pytest.approx(6000 / 21000, rel=0.15)
    best = land["best"][0]
    assert best["share"] < 0.001
    assert abs(best["direction"][2]) < 0.05
    assert (np.array(land["plane_share"]) >= share - 1e-9).all()


def test_an_open_surface_has_no_landscape():
    mesh = box([1, 2, 3]).mesh
    with pytest.raises(NotASolidError):
        landscape_data(ScanMesh(vertices=mesh.vertices, faces=mesh.faces[1:]))

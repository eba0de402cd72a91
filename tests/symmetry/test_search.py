"""The mirror-plane search on shapes whose plane is known."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.plane import Plane
from mirrorprep.symmetry.search import find_mirror_plane


def turned(mesh: ScanMesh, plane: Plane, seed: int) -> tuple[ScanMesh, Plane]:
    rng = np.random.default_rng(seed)
    rotation = Rotation.random(rng=rng).as_matrix()
    shift = rng.normal(size=3) * mesh.diagonal_mm
    normal = rotation @ plane.normal
    moved = mesh.with_geometry(mesh.vertices @ rotation.T + shift)
    return moved, Plane(normal=normal, offset_mm=plane.offset_mm + float(normal @ shift))


def test_animal_body(shared_data):
    trimesh = pytest.importorskip("trimesh")
    raw = trimesh.load(shared_data / "organic" / "spot-cow.obj", process=False)
    mesh = ScanMesh(vertices=np.array(raw.vertices) * 100, faces=np.array(raw.faces))
    moved, truth = turned(mesh, Plane(normal=np.array([1.0, 0, 0]), offset_mm=0.0), 3)
    result = find_mirror_plane(moved)
    assert result.status == "clear"
    assert result.plane.angle_deg(truth) < 0.002
    assert result.as_dict()["status"] == "clear"

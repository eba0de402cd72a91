"""Certification, fed each fault; the rule is the 3MF core specification 1.4, sections 4.1, 4.1.3, 4.1.4."""

import numpy as np
import pytest

from mirrorprep.errors import NotASolidError
from mirrorprep.solid.certify import certify, examine
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.primitives import box

_BOX = box([1, 2, 3]).mesh


def _faults(faces: np.ndarray) -> dict[str, ScanMesh]:
    flipped = faces.copy()
    flipped[0] = flipped[0, ::-1]
    repeated = np.vstack([faces, [[0, 0, 1]]])
    return {
        "3 open edges": _BOX.with_geometry(_BOX.vertices, faces[1:]),
        "edges of more than two triangles": _BOX.with_geometry(_BOX.vertices, np.vstack([faces, faces[:1]])),
        "run the same way": _BOX.with_geometry(_BOX.vertices, flipped),
        "triangles that repeat a vertex": _BOX.with_geometry(_BOX.vertices, repeated),
        "inside out": _BOX.with_geometry(_BOX.vertices, faces[:, ::-1]),
        "no triangles": ScanMesh(vertices=np.zeros((0, 3)), faces=np.zeros((0, 3), dtype=np.int64)),
    }


def test_a_box_is_a_solid():
    solid = certify(_BOX)
    assert solid.volume_mm3 == pytest.approx(6.0, rel=1e-14)
    assert examine(_BOX).reason == ""


@pytest.mark.parametrize("reason", list(_faults(np.array(_BOX.faces))))
def test_each_fault_is_refused_with_its_reason(reason):
    with pytest.raises(NotASolidError, match=reason):
        certify(_faults(np.array(_BOX.faces))[reason])


def test_two_cubes_that_share_an_edge_by_position_stay_a_solid():
    """Merged by position they would pinch (16 vertices become 14); by index they are two closed bodies."""
    a, b = box([1, 1, 1]).mesh, box([1, 1, 1], center_mm=[1, 1, 0]).mesh
    both = ScanMesh(vertices=np.vstack([a.vertices, b.vertices]), faces=np.vstack([a.faces, b.faces + 8]))
    assert certify(both).volume_mm3 == pytest.approx(2.0)
    welded, index = np.unique(both.vertices, axis=0, return_inverse=True)
    assert len(welded) == 14
    with pytest.raises(NotASolidError, match="more than two"):
        certify(ScanMesh(vertices=welded, faces=index.reshape(-1)[both.faces]))


@pytest.mark.parametrize(
    ("name", "volume"),
    [("load_nut", 32_171.322237), ("load_sphere", 8_425_174.0), ("load_ant", 482.143628)],
)
def test_closed_meshes_of_pyvista_are_solids_of_known_volume(name, volume):
    """Measured with four libraries that agree to twelve digits (pyvista's own example files)."""
    examples = pytest.importorskip("pyvista.examples")
    data = getattr(examples, name)()
    mesh = ScanMesh(vertices=data.points, faces=data.faces.reshape(-1, 4)[:, 1:])
    if examine(mesh).signed_volume_mm3 < 0:
        mesh = mesh.with_geometry(mesh.vertices, mesh.faces[:, ::-1])
    assert certify(mesh).volume_mm3 == pytest.approx(volume, rel=1e-6)


def test_airplane_of_pyvista_is_no_solid():
    examples = pytest.importorskip("pyvista.examples")
    data = examples.load_airplane()
    with pytest.raises(NotASolidError, match="open edges"):
        certify(ScanMesh(vertices=data.points, faces=data.faces.reshape(-1, 4)[:, 1:]))

"""ScanMesh, Plane and Finding hold what they are given, unchanged."""

import pickle

import numpy as np
import pytest

from mirrorprep.errors import UsageError
from mirrorprep.solid.finding import Finding, Severity, worst
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.plane import Plane


def _mesh() -> ScanMesh:
    return ScanMesh(vertices=np.eye(3), faces=np.array([[0, 1, 2]]), colors=np.full((3, 4), 7))


def test_arrays_are_frozen_and_the_callers_stay_writable():
    vertices = np.eye(3)
    mesh = ScanMesh(vertices=vertices, faces=np.array([[0, 1, 2]]))
    with pytest.raises(ValueError, match="read-only"):
        mesh.vertices[0, 0] = 5
    vertices[0, 0] = 5.0
    assert vertices.flags.writeable


def test_pickling_keeps_arrays_frozen():
    copy = pickle.loads(pickle.dumps(_mesh()))
    assert np.array_equal(copy.vertices, np.eye(3))
    assert not copy.vertices.flags.writeable
    plane = pickle.loads(pickle.dumps(Plane(normal=[0, 0, 2], offset_mm=1)))
    assert plane.normal.tolist() == [0, 0, 1]
    assert not plane.normal.flags.writeable


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"vertices": np.zeros((3, 2))}, "Vertices have shape"),
        ({"faces": np.array([[0, 1]])}, "Faces have shape"),
        ({"faces": np.array([[0, 1, 3]])}, "refers to a vertex outside 0 to 2"),
        ({"faces": np.array([[0, 1, -1]])}, "refers to a vertex outside"),
        ({"vertices": np.full((3, 3), np.nan)}, "not a finite number"),
        ({"colors": np.zeros((2, 4))}, "Colors have shape"),
    ],
)
def test_wrong_arrays_are_refused(changes, words):
    good = {"vertices": np.eye(3), "faces": np.array([[0, 1, 2]])}
    with pytest.raises(UsageError, match=words):
        ScanMesh(**{**good, **changes})


def test_size_counts_used_vertices_only():
    stray = ScanMesh(vertices=np.vstack([np.eye(3), [[99, 99, 99]]]), faces=np.array([[0, 1, 2]]))
    assert stray.size_mm.tolist() == [1, 1, 1]
    assert stray.diagonal_mm == pytest.approx(np.sqrt(3))
    empty = ScanMesh(vertices=np.zeros((0, 3)), faces=np.zeros((0, 3), dtype=int))
    assert empty.size_mm.tolist() == [0, 0, 0]


def test_colours_follow_only_while_they_fit():
    mesh = _mesh()
    assert mesh.with_geometry(mesh.vertices + 1).colors is not None
    assert mesh.with_geometry(np.zeros((4, 3)), mesh.faces).colors is None


def test_plane_distance_and_angle():
    plane = Plane.through([0, 0, 4], [0, 0, 2])
    assert plane.offset_mm == 4.0
    assert plane.distance_mm([[1, 2, 5]]).tolist() == [1.0]
    assert plane.angle_deg(Plane(normal=[0, 1e-9, -1], offset_mm=0)) == pytest.approx(np.degrees(1e-9))
    assert plane.as_dict() == {"normal": [0, 0, 1], "offset_mm": 4.0}
    with pytest.raises(UsageError, match="is not a normal"):
        Plane(normal=[0, 0, 0], offset_mm=0)


def test_worst_severity():
    findings = [Finding(code=str(s), severity=s, message="") for s in (Severity.CAUTION, Severity.NOTE)]
    assert worst(findings) is Severity.CAUTION
    assert worst([]) is Severity.NOTE
    assert findings[0].as_dict()["severity"] == "caution"

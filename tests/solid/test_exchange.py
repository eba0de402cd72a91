"""Exchange with trimesh, which is an independent judge of volume, closure and inertia besides."""

import numpy as np
import pytest
import trimesh

from mirrorprep.errors import UsageError
from mirrorprep.solid.exchange import from_trimesh, to_trimesh
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.primitives import box, sphere


def test_trimesh_agrees_on_volume_area_and_inertia():
    body = sphere(10, segments=48) - box([8, 8, 40])
    judge = to_trimesh(body)
    assert judge.is_watertight
    assert judge.is_winding_consistent
    assert judge.volume == pytest.approx(body.volume_mm3, rel=1e-12)
    assert judge.area == pytest.approx(body.mass_properties.area_mm2, rel=1e-12)
    assert judge.moment_inertia == pytest.approx(body.mass_properties.inertia_mm5, rel=1e-9, abs=1e-6)


def test_two_cubes_that_touch_along_an_edge_stay_as_indexed():
    """Merged by position, 16 vertices would become 14 and the result would not be watertight."""
    a, b = box([1, 1, 1]).mesh, box([1, 1, 1], center_mm=[1, 1, 0]).mesh
    both = ScanMesh(vertices=np.vstack([a.vertices, b.vertices]), faces=np.vstack([a.faces, b.faces + 8]))
    assert len(to_trimesh(both).vertices) == 16
    assert to_trimesh(both).is_watertight


def test_there_and_back_keeps_everything():
    colors = np.arange(32, dtype=np.uint8).reshape(8, 4)
    mesh = box([1, 2, 3]).mesh
    colored = ScanMesh(vertices=mesh.vertices, faces=mesh.faces, colors=colors)
    back = from_trimesh(to_trimesh(colored))
    assert np.array_equal(back.vertices, mesh.vertices)
    assert np.array_equal(back.faces, mesh.faces)
    assert np.array_equal(back.colors, colors)
    assert from_trimesh(to_trimesh(mesh)).colors is None


def test_a_scene_is_refused():
    with pytest.raises(UsageError, match="Scene is not a single mesh"):
        from_trimesh(trimesh.Scene())

"""Mirroring keeps the outside outside (closed forms: Householder 1958; check-values 1.1 and 1.2)."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.plane import Plane
from mirrorprep.solid.primitives import box, frustum
from mirrorprep.solid.solid import Solid
from mirrorprep.symmetry.mirroring import mirror

NORMALS = st.tuples(*[st.floats(-1, 1)] * 3).filter(lambda n: np.linalg.norm(n) > 0.1)


@settings(deadline=None, max_examples=25, derandomize=True)
@given(normal=NORMALS, offset=st.floats(-50, 50))
def test_twice_is_identity_and_volume_stays(normal, offset):
    plane = Plane(normal=np.array(normal), offset_mm=offset)
    cone = frustum([1, 2, 3], [4, -2, 20], start_radius_mm=10, stop_radius_mm=5)
    once = mirror(cone, plane)
    assert isinstance(once, Solid)
    assert once.volume_mm3 == pytest.approx(cone.volume_mm3, rel=1e-12)
    twice = mirror(once, plane)
    assert (twice - cone).volume_mm3 < 1e-6
    assert (cone - twice).volume_mm3 < 1e-6


def test_known_image():
    # Householder reflection evaluated by hand for n = (1, 2, 2)/3, d = 4.
    plane = Plane(normal=np.array([1.0, 2, 2]), offset_mm=4.0)
    scan = ScanMesh(vertices=np.array([[1.0, 0, 0], [0, 1, 0], [0, 0, 1]]), faces=np.array([[0, 1, 2]]))
    image = mirror(scan, plane)
    assert isinstance(image, ScanMesh)
    np.testing.assert_allclose(image.vertices[0] * 9, [31, 44, 44], atol=1e-12)


def test_colours_travel_and_normals_stay_outside():
    source = box([2, 4, 6]).mesh
    colors = np.arange(len(source.vertices) * 4, dtype=np.uint8).reshape(-1, 4)
    scan = ScanMesh(vertices=source.vertices, faces=source.faces, colors=colors)
    image = mirror(scan, Plane(normal=np.array([0.0, 0, 1]), offset_mm=9.0))
    np.testing.assert_array_equal(image.colors, colors)
    a, b, c = np.moveaxis(image.triangles, 1, 0)
    outward = np.einsum("ij,ij->i", np.cross(b - a, c - a), (a + b + c) / 3 - [0, 0, 18])
    assert (outward > 0).all()
    assert scan.vertices is not image.vertices

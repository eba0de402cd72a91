import numpy as np
import pytest

from mirrorprep.geometry.mass_properties import signed_volume_mm3
from mirrorprep.geometry.topology import edge_table
from mirrorprep.solid.decimate import decimated
from mirrorprep.solid.primitives import box, sphere


def test_ball_with_few_triangles_stays_closed_and_near():
    mesh = sphere(10.0, segments=200).mesh
    vertices, faces = decimated(mesh.vertices, mesh.faces, triangles=2400, tolerance_mm=0.05)
    assert len(faces) <= 2400
    assert (edge_table(faces).uses == 2).all()
    assert signed_volume_mm3(vertices, faces) == pytest.approx(4 / 3 * np.pi * 1000.0, rel=0.03)
    assert np.abs(np.linalg.norm(vertices, axis=1) - 10.0).max() < 1e-9


def test_few_triangles_come_back_as_they_are():
    mesh = box([3.0, 2.0, 1.0]).mesh
    vertices, faces = decimated(mesh.vertices, mesh.faces, triangles=100, tolerance_mm=10.0)
    assert vertices is mesh.vertices
    assert faces is mesh.faces


def test_what_the_kernel_refuses_or_would_erase_comes_back():
    mesh = sphere(10.0, segments=40).mesh
    opened = mesh.faces[5:]
    assert decimated(mesh.vertices, opened, triangles=10, tolerance_mm=0.1)[1] is opened
    vertices, faces = decimated(mesh.vertices, mesh.faces, triangles=10, tolerance_mm=100.0)
    assert len(faces) > 0
    assert signed_volume_mm3(vertices, faces) > 0.0

"""The carved fox."""

import numpy as np
import pytest

import demo_shapes
from mirrorprep.errors import UsageError
from mirrorprep.geometry.self_intersection import self_intersections
from mirrorprep.geometry.topology import bodies, edge_table
from mirrorprep.solid.certify import examine


def test_fox_is_one_sound_solid_on_its_plinth(animal):
    mesh = animal.solid.mesh
    assert examine(mesh).solid
    assert bodies(mesh.faces, len(mesh.vertices))[0] == 1
    assert len(np.unique(mesh.faces)) - len(edge_table(mesh.faces).edges) + len(mesh.faces) == 2
    assert len(self_intersections(mesh.vertices, mesh.faces)) == 0
    low, high = mesh.bounds_mm
    assert low[2] == pytest.approx(0.0, abs=0.01)
    assert ((high - low) >= 60).all()
    assert ((high - low) <= 100).all()


def test_triangle_counts():
    assert 50_000 <= demo_shapes.animal("full").true_values.triangles <= 100_000
    assert demo_shapes.animal("small").true_values.triangles <= 25_000


def test_fox_stands_on_a_flat_base(animal):
    mesh = animal.solid.mesh
    a, b, c = np.moveaxis(mesh.triangles, 1, 0)
    area = np.cross(b - a, c - a)[:, 2] / 2
    ground = np.abs(mesh.triangles[..., 2]).max(axis=1) < 0.02
    assert -area[ground].sum() == pytest.approx(np.pi * 33 * 34, rel=0.2)


def test_unknown_detail_is_refused():
    with pytest.raises(UsageError, match="'tiny' is not a level"):
        demo_shapes.animal("tiny")

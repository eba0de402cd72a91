"""Settling a ring on skin: known movements, outliers, freedoms that the skin leaves open, missing skin."""

import numpy as np
import pytest

from mirrorprep.errors import GeometryError
from mirrorprep.geometry.normals import vertex_normals
from mirrorprep.geometry.rigid_fit import motion, moved
from mirrorprep.geometry.signed_distance import DistanceField
from mirrorprep.seating.registration import settle_ring
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.primitives import box, sphere

LUMPY = sphere(30.0, segments=160).transformed(np.diag([1.0, 0.8, 1.2, 1.0]))
for lump in ([22, 14, 10], [22, -2, 28], [29, -9, 6]):
    LUMPY += sphere(7.0, center_mm=lump, segments=80)
SKIN = DistanceField(LUMPY.mesh.vertices, LUMPY.mesh.faces)


def ring_of(mesh, low=4.0, high=26.0):
    away = np.linalg.norm(mesh.vertices - [24, 8, 20], axis=1)
    rows = (away > low) & (away < high)
    return mesh.vertices[rows], vertex_normals(mesh.vertices, mesh.faces)[rows]


def displaced(points, normals, vector):
    move = motion(np.array(vector), points.mean(axis=0))
    return moved(points, move), normals @ move[:3, :3].T, move


def test_a_known_movement_is_undone():
    points, normals = ring_of(LUMPY.mesh)
    start, turned, move = displaced(points, normals, [0.02, -0.015, 0.01, 0.5, -0.4, 0.3])
    fit = settle_ring(start, turned, SKIN)
    assert fit.freedoms == 6
    np.testing.assert_allclose(moved(start, fit.matrix), points, atol=0.02)
    assert fit.rms_mm < 0.01 < fit.rms_before_mm
    assert fit.turn_deg == pytest.approx(np.degrees(np.linalg.norm([0.02, -0.015, 0.01])), rel=0.02)
    assert fit.shift_mm == pytest.approx(np.linalg.norm([0.5, -0.4, 0.3]), rel=0.05)
    assert np.linalg.det(move[:3, :3]) == pytest.approx(1.0)


def test_outliers_hardly_matter():
    points, normals = ring_of(LUMPY.mesh)
    start, turned, _ = displaced(points, normals, [0.0, 0.0, 0.0, 0.3, 0.2, -0.2])
    bad = np.random.default_rng(0).random(len(start)) < 0.2
    start[bad] += 4.0 * turned[bad]
    fit = settle_ring(start, turned, SKIN)
    np.testing.assert_allclose(moved(start[~bad], fit.matrix), points[~bad], atol=0.12)
    assert 0.6 < fit.share < 0.9


def test_on_a_plane_only_three_freedoms_are_used():
    flat = box([200, 200, 20], center_mm=[0, 0, -10]).mesh
    grid = np.stack(np.meshgrid(np.linspace(-30, 30, 25), np.linspace(-30, 30, 25)), -1).reshape(-1, 2)
    points = np.column_stack([grid, np.full(len(grid), 0.7)])
    fit = settle_ring(
        points, np.tile([0.0, 0.0, 1.0], (len(points), 1)), DistanceField(flat.vertices, flat.faces)
    )
    assert fit.freedoms == 3
    np.testing.assert_allclose(fit.matrix[:3, 3], [0.0, 0.0, -0.7], atol=1e-6)
    assert fit.rms_mm < 1e-6


def test_missing_skin_is_refused():
    kept = LUMPY.mesh.vertices[:, 0] < 8.0
    part = ScanMesh(vertices=LUMPY.mesh.vertices, faces=LUMPY.mesh.faces[kept[LUMPY.mesh.faces].all(axis=1)])
    points, normals = ring_of(LUMPY.mesh)
    with pytest.raises(GeometryError, match="recipient scan is missing under"):
        settle_ring(points, normals, DistanceField(part.vertices, part.faces))


def test_skin_that_faces_away_settles_nothing():
    points, normals = ring_of(LUMPY.mesh)
    fit = settle_ring(points, -normals, SKIN)
    assert (fit.freedoms, fit.share) == (0, 0.0)
    assert np.isnan(fit.rms_mm)

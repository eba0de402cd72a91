import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mirrorprep.geometry.column_raster import ColumnGrid, raster
from mirrorprep.geometry.column_views import ViewedMesh, measured_views
from mirrorprep.geometry.mass_properties import signed_volume_mm3
from mirrorprep.solid.primitives import box, frame_along, frustum, sphere
from mirrorprep.solid.solid import union


def frames(directions):
    return np.array([frame_along(direction) for direction in directions])


def by_raster(mesh, frame, rows, columns):
    """The same four figures from the raster of single columns, on the same places."""
    seen = mesh.vertices @ frame
    low, high = seen.min(axis=0), seen.max(axis=0)
    spacing = (high - low)[:2] / [rows, columns]
    scaled = np.column_stack([(seen[:, :2] - low[:2]) / spacing - 0.5, seen[:, 2]])
    met = raster(scaled, mesh.faces, ColumnGrid(origin_uv=np.zeros(2), spacing_mm=1.0, shape=(rows, columns)))
    ends = np.concatenate([met.top_mm[met.filled], met.bottom_mm[met.filled]])
    middle = np.median(ends)
    missed = met.missed_mm(np.full(len(met.top_mm), middle)).sum()
    span = (met.top_mm - met.bottom_mm)[met.filled].sum()
    area = spacing.prod()
    return (span - met.thickness_mm.sum()) * area, missed * area, middle, high[2] - low[2]


@settings(deadline=None, max_examples=25, derandomize=True)
@given(st.integers(0, 10_000))
def test_views_agree_with_single_columns(seed):
    rng = np.random.default_rng(seed)
    balls = [sphere(rng.uniform(2, 6), center_mm=rng.uniform(-8, 8, 3), segments=20) for _ in range(5)]
    mesh = (union(balls) - box([4, 30, 4], center_mm=[0, 0, 3])).mesh
    turns = frames(rng.normal(size=(7, 3)))
    found = measured_views(ViewedMesh.of(mesh.vertices, mesh.faces), turns, rows=23, columns=41)
    for k, frame in enumerate(turns):
        gap, missed, middle, extent = by_raster(mesh, frame, 23, 41)
        assert found.gap_volume[k] == pytest.approx(gap, abs=1e-6)
        assert found.missed_volume[k] == pytest.approx(missed, abs=1e-6)
        assert found.median_height[k] == pytest.approx(middle, abs=1e-9)
        assert found.extent[k] == pytest.approx(extent)


def test_batches_do_not_show():
    mesh = sphere(10.0, segments=64).mesh
    viewed = ViewedMesh.of(mesh.vertices, mesh.faces)
    turns = frames(np.random.default_rng(2).normal(size=(30, 3)))
    together = measured_views(viewed, turns, rows=20, columns=30)
    alone = [measured_views(viewed, turns[k : k + 1], rows=20, columns=30) for k in range(30)]
    np.testing.assert_array_equal(together.missed_volume, [one.missed_volume[0] for one in alone])


def test_dumbbell_pulled_along_its_rod():
    # closed form by integration: 2 π c (R² − q²) − 4 π / 3 (R² − q²)^1.5
    balls = [sphere(10.0, center_mm=[0, 0, z], segments=128) for z in (-12.0, 12.0)]
    rod = frustum([0, 0, -12], [0, 0, 12], start_radius_mm=3.0, stop_radius_mm=3.0, segments=128)
    mesh = union([*balls, rod]).mesh
    square = 10.0**2 - 3.0**2
    exact = 2 * np.pi * 12.0 * square - 4 * np.pi / 3 * square**1.5
    turns = frames([[0.0, 0.0, 1.0]])
    found = measured_views(ViewedMesh.of(mesh.vertices, mesh.faces), turns, rows=200, columns=400)
    assert found.gap_volume[0] == pytest.approx(exact, rel=5e-3)


def test_ball_traps_nothing_and_its_plane_is_its_equator():
    mesh = sphere(10.0, center_mm=[1.0, 2.0, 3.0], segments=96).mesh
    found = measured_views(ViewedMesh.of(mesh.vertices, mesh.faces), frames([[1, 2, 2]]), rows=40, columns=60)
    volume = signed_volume_mm3(mesh.vertices, mesh.faces)
    assert found.gap_volume[0] <= 1e-12 * volume
    assert found.missed_volume[0] <= 2e-3 * volume
    assert found.median_height[0] == pytest.approx((1 + 4 + 6) / 3, abs=0.1)
    assert found.extent[0] == pytest.approx(20.0, abs=0.04)


def test_faces_on_columns_and_triangles_without_area_do_no_harm():
    # corners on columns and upright faces along a row: half-open counting decides each tie once
    mesh = box([8.0, 8.0, 2.0]).mesh
    faces = np.vstack([mesh.faces, [[0, 0, 1], [1, 0, 0]]])
    found = measured_views(ViewedMesh.of(mesh.vertices, faces), np.eye(3)[None], rows=8, columns=16)
    assert found.gap_volume[0] == 0.0
    assert found.missed_volume[0] == 0.0

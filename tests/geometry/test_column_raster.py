import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mirrorprep.geometry.column_raster import (
    ColumnGrid,
    _grid_hits,
    column_intervals,
    columns_at,
    raster,
)
from mirrorprep.geometry.mass_properties import signed_volume_mm3
from mirrorprep.solid.primitives import box, sphere
from mirrorprep.solid.solid import union

UNIT = ColumnGrid(origin_uv=np.zeros(2), spacing_mm=1.0, shape=(9, 9))


def turned(solid, angle_rad=0.7):
    spin = np.array(
        [[np.cos(angle_rad), -np.sin(angle_rad), 0], [np.sin(angle_rad), np.cos(angle_rad), 0], [0, 0, 1.0]]
    )
    return solid.mesh.vertices @ spin.T, solid.mesh.faces


def octahedron(corners):
    faces = [[0, 2, 4], [2, 1, 4], [1, 3, 4], [3, 0, 4], [2, 0, 5], [1, 2, 5], [3, 1, 5], [0, 3, 5]]
    return np.asarray(corners, dtype=float), np.array(faces)


def test_volume_of_a_ball_approaches_the_exact_one():
    vertices, faces = turned(sphere(10.0, segments=160))
    exact = signed_volume_mm3(vertices, faces)
    errors = []
    for columns in (64, 512):
        grid = ColumnGrid.over([-10, -10], [10, 10], columns=columns)
        met = raster(vertices, faces, grid)
        errors.append(abs(met.thickness_mm.sum() * grid.cell_area_mm2 / exact - 1.0))
        assert met.intervals.max() == 1
        assert met.gap_mm.max() <= 1e-12
    assert errors[0] < 2e-3
    assert errors[1] < 5e-5


def test_ties_on_faces_edges_and_corners_count_once():
    # the corners of the box and the diagonals of its faces lie exactly on columns: half-open counting
    # leaves 4 × 3 of the 5 × 4 columns that touch it, each entered and left once
    solid = box([4.0, 3.0, 2.0], center_mm=[4.0, 3.5, 1.0])
    met = raster(solid.mesh.vertices, solid.mesh.faces, UNIT)
    assert met.intervals.sum() == 12
    assert met.thickness_mm.sum() == pytest.approx(24.0, abs=1e-12)
    assert set(np.flatnonzero(met.filled) // 9) == {2, 3, 4, 5}
    assert set(np.flatnonzero(met.filled) % 9) == {2, 3, 4}


@settings(deadline=None, max_examples=150, derandomize=True)
@given(st.lists(st.tuples(*[st.integers(0, 8)] * 3), min_size=6, max_size=6))
def test_every_column_is_left_as_often_as_entered(corners):
    # vertices on grid columns make every column a tie; the surface is closed, however it folds
    vertices, faces = octahedron(corners)
    hits = _grid_hits(vertices, faces, UNIT)
    out = np.bincount(hits.column[hits.leaving], minlength=UNIT.count)
    into = np.bincount(hits.column[~hits.leaving], minlength=UNIT.count)
    np.testing.assert_array_equal(out, into)


@settings(deadline=None, max_examples=60, derandomize=True)
@given(st.lists(st.tuples(*[st.integers(0, 8)] * 3), min_size=6, max_size=6))
def test_points_meet_what_grid_columns_meet(corners):
    vertices, faces = octahedron(corners)
    one, other = raster(vertices, faces, UNIT), columns_at(UNIT.points_uv, vertices, faces)
    np.testing.assert_array_equal(one.intervals, other.intervals)
    np.testing.assert_allclose(one.thickness_mm, other.thickness_mm, atol=1e-12)
    np.testing.assert_allclose(one.top_mm, other.top_mm, atol=1e-12)


@settings(deadline=None, max_examples=40, derandomize=True)
@given(st.integers(-40, 40), st.integers(-40, 40), st.floats(-50.0, 50.0))
def test_columns_move_with_the_mesh(du, dv, dz):
    vertices, faces = turned(box([3.1, 2.2, 1.3], center_mm=[4.0, 4.0, 0.0]))
    moved = ColumnGrid(origin_uv=np.array([du, dv], dtype=float), spacing_mm=1.0, shape=UNIT.shape)
    one = raster(vertices, faces, UNIT)
    other = raster(vertices + np.array([du, dv, dz]), faces, moved)
    np.testing.assert_allclose(one.thickness_mm, other.thickness_mm, atol=1e-9)
    filled = one.filled
    np.testing.assert_allclose(one.top_mm[filled] + dz, other.top_mm[filled], atol=1e-9)


def test_intervals_pair_and_merge():
    # two boxes stacked with a gap, and a third that touches the upper one: two intervals per column
    parts = [box([4, 4, h], center_mm=[4, 4, z]) for h, z in ((2.0, 1.0), (2.0, 5.0), (1.0, 6.5))]
    offset = np.cumsum([0, *(len(p.mesh.vertices) for p in parts[:-1])])
    vertices = np.vstack([p.mesh.vertices for p in parts])
    faces = np.vstack([p.mesh.faces + o for p, o in zip(parts, offset, strict=True)])
    column, enter, leave = column_intervals(vertices, faces, [0.5, 0.5], 1.0, (9, 9))
    assert len(column) == 2 * 16
    assert (np.diff(column) >= 0).all()
    assert set(zip(enter.tolist(), leave.tolist(), strict=True)) == {(0.0, 2.0), (4.0, 7.0)}


def test_columns_agree_with_a_reference_library():
    # outside check: crossings of VTK's oriented-box tree (vtkOBBTree, VTK 9) along the same lines
    vtk_core = pytest.importorskip("vtkmodules.vtkCommonCore")
    filters = pytest.importorskip("vtkmodules.vtkFiltersGeneral")
    pyvista = pytest.importorskip("pyvista")
    rng = np.random.default_rng(11)
    balls = [
        sphere(r, center_mm=c, segments=48)
        for r, c in zip(rng.uniform(2, 5, 30), rng.uniform(-12, 12, (30, 3)), strict=True)
    ]
    mesh = (union(balls[:20]) - union(balls[20:])).mesh
    tree = filters.vtkOBBTree()
    tree.SetDataSet(pyvista.PolyData.from_regular_faces(mesh.vertices, mesh.faces))
    tree.BuildLocator()
    low, high = mesh.bounds_mm
    places = rng.uniform(low[:2], high[:2], size=(300, 2))
    met = columns_at(places, mesh.vertices, mesh.faces)
    assert met.intervals.max() >= 3
    for k, (u, v) in enumerate(places):
        points = vtk_core.vtkPoints()
        points.SetDataTypeToDouble()
        tree.IntersectWithLine((u, v, low[2] - 1.0), (u, v, high[2] + 1.0), points, None)
        z = np.sort([points.GetPoint(i)[2] for i in range(points.GetNumberOfPoints())])
        assert len(z) == 2 * met.intervals[k]
        if len(z):
            assert (met.bottom_mm[k], met.top_mm[k]) == pytest.approx((z[0], z[-1]), abs=1e-6)
            assert met.thickness_mm[k] == pytest.approx((z[1::2] - z[::2]).sum(), abs=1e-6)


def test_empty_columns_are_marked():
    met = raster(*turned(box([1.0, 1.0, 1.0], center_mm=[40.0, 40.0, 0.0])), UNIT)
    assert not met.filled.any()
    assert met.gap_mm.sum() == 0.0
    assert met.missed_mm(np.zeros(UNIT.count)).sum() == 0.0


def test_missed_length_is_the_way_out_of_the_part():
    met = raster(*turned(box([9.0, 9.0, 2.0], center_mm=[4.0, 4.0, 1.0]), 0.0), UNIT)
    for height, missed in ((-1.5, 1.5), (0.7, 0.0), (5.0, 3.0)):
        assert met.missed_mm(np.full(UNIT.count, height))[40] == pytest.approx(missed)

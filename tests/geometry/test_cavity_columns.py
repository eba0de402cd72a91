"""Columns: volumes against closed forms, every crossing counted once, overlapping shells, neighbours."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from mirrorprep.errors import NotASolidError, UsageError
from mirrorprep.geometry.cavity_columns import cavity_columns, neighbour_links, require_closed, upright_frame
from mirrorprep.solid.primitives import box, sphere


@settings(max_examples=25, deadline=None, derandomize=True)
@given(seed=st.integers(0, 10_000), spacing=st.floats(0.3, 1.5))
def test_a_ball_measures_alike_from_everywhere(seed, spacing):
    # Volume of the ball R = 10: 4/3 pi R³ = 4188.790205 (the 96-gon mesh is inscribed: -0.2 %).
    up = Rotation.random(rng=np.random.default_rng(seed)).as_matrix()[:, 2]
    ball = sphere(10.0, segments=96)
    columns = cavity_columns(ball.mesh.vertices, ball.mesh.faces, up=up, spacing_mm=spacing)
    assert columns.volume_mm3 == pytest.approx(ball.volume_mm3, rel=0.02 * spacing)


@settings(max_examples=40, deadline=None, derandomize=True)
@given(seed=st.integers(0, 10_000))
def test_vertices_and_edges_on_the_columns_are_counted_once(seed):
    # The mesh is snapped to the columns themselves, so that ties are the rule.
    frame = upright_frame((0, 0, 1))
    rng = np.random.default_rng(seed)
    low, size = rng.integers(-4, 4, 3), rng.integers(1, 6, 3)
    block = box(size.astype(float).tolist(), center_mm=low + size / 2.0).mesh
    vertices = block.vertices @ frame
    columns = cavity_columns(vertices, block.faces, up=(0, 0, 1), spacing_mm=0.5)
    assert columns.volume_mm3 == pytest.approx(float(size.prod()))


def test_overlapping_shells_are_one_body():
    first, second = box([4, 4, 4]).mesh, box([4, 4, 4], center_mm=[0, 0, 1.5]).mesh
    vertices = np.concatenate([first.vertices, second.vertices])
    faces = np.concatenate([first.faces, second.faces + len(first.vertices)])
    columns = cavity_columns(vertices, faces, up=(0, 0, 1), spacing_mm=0.05)
    assert columns.volume_mm3 == pytest.approx(4 * 4 * 5.5, rel=5e-3)
    assert len(np.unique(columns.column)) == len(columns.column)


def test_a_cavity_splits_its_columns():
    hollow = (box([10, 10, 10]) - box([4, 4, 4])).mesh
    columns = cavity_columns(hollow.vertices, hollow.faces, up=(0, 0, 1), spacing_mm=0.1)
    pieces = np.bincount(columns.column)
    assert pieces.max() == 2
    assert (pieces == 2).sum() * 0.1**2 == pytest.approx(16.0, rel=0.02)
    first, second = neighbour_links(columns)
    low = np.maximum(columns.bottom_mm[first], columns.bottom_mm[second])
    high = np.minimum(columns.top_mm[first], columns.top_mm[second])
    assert np.all(high > low)


def test_points_go_back_to_space():
    block = box([6, 6, 6], center_mm=[10, 20, 30]).mesh
    columns = cavity_columns(block.vertices, block.faces, up=(1, 2, -1), spacing_mm=0.3)
    every = np.arange(len(columns.column))
    points = columns.points_mm(every, columns.top_mm)
    assert np.allclose(np.abs(points - [10, 20, 30]).max(axis=1), 3.0, atol=1e-9)


@pytest.mark.parametrize("spacing", [0.0, -1.0, np.nan])
def test_a_wrong_spacing_is_refused(spacing):
    block = box([1, 1, 1]).mesh
    with pytest.raises(UsageError, match="not positive"):
        cavity_columns(block.vertices, block.faces, up=(0, 0, 1), spacing_mm=spacing)


def test_no_faces_and_no_columns_are_refused():
    block = box([1, 1, 1]).mesh
    with pytest.raises(NotASolidError, match="no triangles"):
        cavity_columns(block.vertices, block.faces[:0], up=(0, 0, 1), spacing_mm=0.1)
    thin = box([1e-3, 1e-3, 1]).mesh
    with pytest.raises(NotASolidError, match="no volume"):
        cavity_columns(thin.vertices, thin.faces, up=(0, 0, 1), spacing_mm=5.0)


def test_closed_meshes_pass_and_faults_are_told():
    ball = sphere(3.0).mesh
    require_closed(ball.vertices, ball.faces)
    two = np.concatenate([ball.faces, ball.faces[::-1]])
    require_closed(ball.vertices, two)
    with pytest.raises(NotASolidError, match="not closed"):
        require_closed(ball.vertices, ball.faces[1:])
    flipped = ball.faces.copy()
    flipped[0] = flipped[0, ::-1]
    with pytest.raises(NotASolidError, match="not closed"):
        require_closed(ball.vertices, flipped)
    with pytest.raises(NotASolidError, match="inside out"):
        require_closed(ball.vertices, ball.faces[:, ::-1])


def test_meshes_that_abut_are_one_body():
    lower, upper = box([4, 4, 4]).mesh, box([2, 2, 6], center_mm=[0, 0, 5 + 1e-9]).mesh
    vertices = np.concatenate([lower.vertices, upper.vertices])
    faces = np.concatenate([lower.faces, upper.faces + len(lower.vertices)])
    columns = cavity_columns(vertices, faces, up=(0, 0, 1), spacing_mm=0.1)
    assert len(np.unique(columns.column)) == len(columns.column)
    assert columns.top_mm.max() == pytest.approx(8.0)

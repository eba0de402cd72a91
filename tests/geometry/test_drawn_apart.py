import numpy as np
import pytest

from mirrorprep.geometry.drawn_apart import APART_ULP, _back_through, part_twins, spread, uncross
from mirrorprep.geometry.sliver_surface import SliverSurface
from mirrorprep.solid.primitives import box

CUBE = box([2, 2, 2], center_mm=[99.0, 0.0, 0.0]).mesh
ULP = float(np.spacing(np.float32(100.0)))


def spike(depth_ulp, *, slant=0.0):
    """A tetrahedron whose tip stands `depth_ulp` inside the cube's face x = 100, or outside if negative."""
    tip = np.array([100.0 - depth_ulp * ULP, 0.3, 0.2])
    base = tip + np.array([[3.0, 0.5, 0.1], [3.0, -0.4, 0.3], [3.0, 0.0, -0.5]]) + [0.0, slant, 0.0]
    faces = np.array([[0, 2, 1], [0, 3, 2], [0, 1, 3], [1, 2, 3]])
    volume = np.linalg.det(base - tip)
    return np.vstack([tip, base]), faces if volume < 0 else faces[:, ::-1]


def both(depth_ulp, **options):
    vertices, faces = spike(depth_ulp, **options)
    return np.vstack([CUBE.vertices, vertices]), np.vstack([CUBE.faces, faces + len(CUBE.vertices)])


def surface(depth_ulp, **options):
    return SliverSurface(*both(depth_ulp, **options), None)


def test_bodies_apart_stay_where_they_are():
    at = surface(-20.0)
    before = at.vertices.copy()
    for way in (spread, part_twins, uncross):
        assert len(way(at)) == 0
    assert np.array_equal(at.vertices, before)
    assert at.crossing == 0


def test_tip_within_rounding_of_a_face_is_drawn_out():
    at = surface(2.0)
    tip = len(CUBE.vertices)
    assert uncross(at).tolist() == [tip]
    assert 0.0 < np.linalg.norm(at.vertices[tip] - both(2.0)[0][tip]) < 8.5 * ULP
    assert at.rounded[tip, 0] > 100.0
    assert len(uncross(at)) == 0
    assert at.crossing == 0


def test_thin_wall_goes_back_across_the_face_where_its_normals_lie_in_it():
    # The foot of a wall of 0.02 mm: its corners' normals point across the wall, hardly out of the face.
    wall = box([10.0, 0.02, 1.0], center_mm=[105.0 - 2.0 * ULP, 0.3, 0.2]).mesh
    vertices = np.vstack([CUBE.vertices, wall.vertices])
    at = SliverSurface(vertices, np.vstack([CUBE.faces, wall.faces + len(CUBE.vertices)]), None)
    foot = len(CUBE.vertices) + np.flatnonzero(wall.vertices[:, 0] < 101.0)
    assert uncross(at).tolist() == foot.tolist()
    assert (at.rounded[foot, 0] > 100.0).all()
    assert np.abs(at.vertices - vertices).max() < 8.0 * ULP
    uncross(at)
    assert at.crossing == 0


def test_tip_that_stands_deep_in_the_other_body_stays():
    at = surface(1000.0)
    before = at.vertices.copy()
    assert len(uncross(at)) == 0
    assert at.crossing > 0
    assert np.array_equal(at.vertices, before)


def test_fixed_tip_stays():
    vertices, faces = both(2.0)
    at = SliverSurface(vertices, faces, np.ones(len(vertices), dtype=bool))
    assert len(uncross(at)) == 0
    assert np.array_equal(at.vertices, vertices)


def test_way_back_leads_across_the_other_face():
    at = surface(2.0, slant=6.0)
    tip = len(CUBE.vertices)
    sides = np.flatnonzero((at.faces == tip).any(axis=1))
    top = np.flatnonzero((CUBE.triangles[:, :, 0] > 99.9).all(axis=1))
    pairs = np.array([[face, side] for face in top for side in sides])
    rows, ways = _back_through(at, pairs)
    moved = dict(zip(rows.tolist(), ways, strict=True))
    assert moved[tip] == pytest.approx([(2.0 + APART_ULP) * ULP, 0.0, 0.0], abs=1e-3 * ULP)


def test_twins_come_apart():
    # Two cubes that share an edge's place: open by position once welded, closed by index.
    other = CUBE.vertices + [2.0, 2.0, 0.0]
    at = SliverSurface(
        np.vstack([CUBE.vertices, other]), np.vstack([CUBE.faces, CUBE.faces + len(other)]), None
    )
    assert len(part_twins(at)) == 4
    assert len(part_twins(at)) == 0
    assert len(np.unique(at.rounded, axis=0)) == 16
    uncross(at)
    assert at.crossing == 0

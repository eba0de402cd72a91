"""Outer hulls against unions by the solid kernel, an independent library."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mirrorprep.geometry.outer_hull import outer_hull
from mirrorprep.geometry.self_intersection import self_intersections
from mirrorprep.solid.certify import certify, examine
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.primitives import box, sphere
from mirrorprep.solid.solid import union


def together(parts):
    starts = np.cumsum([0] + [len(p.mesh.vertices) for p in parts])
    faces = np.concatenate([p.mesh.faces + s for p, s in zip(parts, starts, strict=False)])
    return np.concatenate([p.mesh.vertices for p in parts]), faces


def hull_of(vertices, faces):
    hull = outer_hull(vertices, faces, self_intersections(vertices, faces))
    return None if hull is None else ScanMesh(vertices=hull.vertices, faces=hull.faces)


@settings(deadline=None, max_examples=12, derandomize=True)
@given(st.integers(0, 10_000), st.integers(2, 4))
def test_overlapping_bodies_become_their_union(seed, count):
    rng = np.random.default_rng(seed)
    parts = [sphere(rng.uniform(4, 9), segments=20, center_mm=rng.uniform(-6, 6, 3)) for _ in range(count)]
    mesh = hull_of(*together(parts))
    assert mesh is not None
    expected = union(parts)
    # A ball wholly inside another one meets nothing and is kept by design; count such volumes once more.
    assert examine(mesh).closed
    assert certify(mesh).volume_mm3 == pytest.approx(expected.volume_mm3, rel=1e-9) or any(
        (one - other).is_empty for one in parts for other in parts if one is not other
    )


def test_old_vertices_stay_and_every_kept_face_lies_in_its_parent():
    vertices, faces = together([box([10, 10, 10]), sphere(5.0, segments=20, center_mm=[4.7, 1.3, 0.9])])
    hull = outer_hull(vertices, faces, self_intersections(vertices, faces))
    np.testing.assert_array_equal(hull.vertices[: len(vertices)], vertices)
    a, b, c = (vertices[faces[hull.parent, k]] for k in range(3))
    normal = np.cross(b - a, c - a)
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    corners = hull.vertices[hull.faces] - a[:, None]
    assert np.abs(np.einsum("fkj,fj->fk", corners, normal)).max() < 1e-12


def figure_of_eight(radius=2.0, along=60, around=12):
    """A tube along a lemniscate, whose two strands pass through each other in the middle."""
    t = np.linspace(0, 2 * np.pi, along, endpoint=False) + 0.013
    line = np.column_stack([12 * np.sin(t), 6 * np.sin(2 * t), 0.5 * np.cos(t)])
    way = np.roll(line, -1, axis=0) - np.roll(line, 1, axis=0)
    side = np.cross(way, [0, 0, 1.0])
    side /= np.linalg.norm(side, axis=1, keepdims=True)
    up = np.cross(side, way)
    up /= np.linalg.norm(up, axis=1, keepdims=True)
    turn = np.linspace(0, 2 * np.pi, around, endpoint=False) + 0.1
    ring = np.cos(turn)[:, None, None] * side + np.sin(turn)[:, None, None] * up
    points = (line + radius * ring).transpose(1, 0, 2).reshape(-1, 3)
    i, j = (part.ravel() for part in np.meshgrid(np.arange(along), np.arange(around), indexing="ij"))
    a, b = i * around + j, i * around + (j + 1) % around
    c, d = ((i + 1) % along) * around + (j + 1) % around, ((i + 1) % along) * around + j
    faces = np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)])
    volume = examine(ScanMesh(vertices=points, faces=faces)).signed_volume_mm3
    return points, faces if volume > 0 else faces[:, ::-1]


def test_a_body_that_crosses_itself_is_counted_once():
    points, faces = figure_of_eight()
    mesh = hull_of(points, faces)
    assert examine(mesh).solid
    assert len(self_intersections(mesh.vertices, mesh.faces)) == 0
    # The kernel unites the tube's two halves, each of which does not cross itself.
    left = _capped_half(points, faces, -1)
    right = _capped_half(points, faces, 1)
    assert certify(mesh).volume_mm3 == pytest.approx(union([left, right]).volume_mm3, rel=0.02)
    twice = examine(ScanMesh(vertices=points, faces=faces)).signed_volume_mm3
    assert certify(mesh).volume_mm3 < 0.97 * twice


def _capped_half(points, faces, sign, around=12):
    """One strand: the rings with the given sign of the lemniscate's speed in x, closed with discs."""
    along = len(points) // around
    t = np.linspace(0, 2 * np.pi, along, endpoint=False) + 0.013
    rings = np.flatnonzero(sign * np.cos(t) > 0)
    start = rings[np.flatnonzero(np.diff(rings, prepend=rings[-1] - along) != 1)[0]]
    order = (start + np.arange(len(rings) + 1)) % along
    number = np.full(along, -1)
    number[order] = np.arange(len(order))
    ring = number[faces // around]
    inside = (ring >= 0).all(axis=1) & (np.ptp(ring, axis=1) <= 1)
    corners = points.reshape(along, around, 3)[order].reshape(-1, 3)
    walls = ring[inside] * around + faces[inside] % around
    last = (len(order) - 1) * around
    fan = np.stack([np.zeros(around - 2, dtype=int), np.arange(1, around - 1), np.arange(2, around)], 1)
    for first, second in ((fan, last + fan[:, ::-1]), (fan[:, ::-1], last + fan)):
        mesh = ScanMesh(vertices=corners, faces=np.concatenate([walls, first, second]))
        if examine(mesh).solid:
            return certify(mesh)
    raise AssertionError("the strand does not close")


def test_touching_bodies_are_left_to_the_caller():
    vertices, faces = together([box([2, 2, 2]), box([2, 2, 2], center_mm=[2, 0.5, 0.5])])
    assert hull_of(vertices, faces) is None


def test_bodies_that_meet_nothing_stay():
    parts = [sphere(5.0, segments=12), sphere(5.0, segments=12, center_mm=[4.1, 0.3, 0.2])]
    far = box([1, 1, 1], center_mm=[40, 0, 0])
    mesh = hull_of(*together([*parts, far]))
    assert certify(mesh).volume_mm3 == pytest.approx(union([*parts, far]).volume_mm3)

"""Removing self-intersections, against unions by the solid kernel where these exist."""

import numpy as np
import pytest

from mirrorprep.condition.draft import Draft
from mirrorprep.condition.untangle import remove_self_intersections
from mirrorprep.geometry.self_intersection import meeting_pairs
from mirrorprep.geometry.weld import weld_exact
from mirrorprep.solid.certify import certify, examine
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.primitives import box, sphere
from mirrorprep.solid.solid import union


def joined(*parts):
    starts = np.cumsum([0] + [len(p.mesh.vertices) for p in parts])
    faces = np.concatenate([p.mesh.faces + s for p, s in zip(parts, starts, strict=False)])
    return ScanMesh(vertices=np.concatenate([p.mesh.vertices for p in parts]), faces=faces)


def untangled(mesh):
    draft, step = remove_self_intersections(Draft.of(mesh))
    return draft, step, ScanMesh(vertices=draft.vertices, faces=draft.faces)


def meets(mesh):
    weld = weld_exact(mesh.vertices)
    return len(meeting_pairs(mesh.vertices[weld.kept], weld.label[mesh.faces]).all)


def test_overlapping_bodies_become_their_union_and_no_vertex_moves():
    parts = [sphere(10.0, segments=32, center_mm=c) for c in ([0, 0, 0], [11, 3, 2], [4, 12, -3])]
    scan = joined(*parts)
    draft, step, mesh = untangled(scan)
    assert certify(mesh).volume_mm3 == pytest.approx(union(parts).volume_mm3, rel=1e-9)
    assert meets(mesh) == 0
    assert step.counts["left"] == 0
    assert step.counts["cut"] == step.counts["pairs"] > 50
    assert not draft.moved_mm.any()
    np.testing.assert_array_equal(draft.vertices[: len(scan.vertices)], scan.vertices)


def test_bodies_that_share_a_plane_are_nudged_apart_by_next_to_nothing():
    parts = [box([10, 10, 10]), box([10, 10, 10], center_mm=[5, 3, 0])]
    draft, step, mesh = untangled(joined(*parts))
    assert examine(mesh).solid
    assert meets(mesh) == 0
    assert certify(mesh).volume_mm3 == pytest.approx(union(parts).volume_mm3, rel=1e-3)
    assert 0 < draft.moved_mm.max() < 2e-3
    assert step.counts["left"] == 0


def test_a_fold_of_a_scan_is_taken_out():
    ball = sphere(30.0, segments=120).mesh
    points = np.array(ball.vertices)
    near = np.argsort(np.linalg.norm(points - [30, 0, 0], axis=1))
    points[near[:12]] += [-1.0, 6.0, 3.0]
    scan = ball.with_geometry(points)
    before = meeting_pairs(scan.vertices, scan.faces).all
    assert len(before) > 3
    _, step, mesh = untangled(scan)
    assert examine(mesh).solid
    assert meets(mesh) == 0
    assert step.counts["left"] == 0
    assert certify(mesh).volume_mm3 == pytest.approx(certify(ball).volume_mm3, rel=1e-3)


def test_many_small_folds_of_a_noisy_scan_are_smoothed(monkeypatch):
    monkeypatch.setattr("mirrorprep.condition.untangle._MOST_CUT", 20)
    ball = sphere(30.0, segments=100).mesh
    noise = np.random.default_rng(0).normal(0.0, 0.7, ball.vertices.shape)
    scan = ball.with_geometry(ball.vertices + noise)
    assert len(meeting_pairs(scan.vertices, scan.faces).all) > 100
    draft, step, mesh = untangled(scan)
    assert step.counts["smoothed"] > 100
    assert step.counts["left"] == 0 == meets(mesh)
    assert examine(mesh).solid
    assert draft.moved_mm.max() < 4.0
    assert (draft.moved_mm > 0).mean() < 0.9


def test_needles_flat_upon_their_neighbour_are_flipped():
    ball = sphere(30.0, segments=24).mesh
    # Put a vertex into the middle of one triangle's edge, a hair beyond it, so that a needle folds back.
    a, b, c = ball.faces[0]
    (other,) = (face for face in ball.faces.tolist() if {a, b} <= set(face) and c not in face)
    d = next(v for v in other if v not in (a, b))
    p, q = ball.vertices[a], ball.vertices[b]
    wing = ball.vertices[c]
    beyond = (p + q) / 2 + 2.0**-20 * (wing - (p + q) / 2)
    number = len(ball.vertices)
    turned = [[a if v == b else v for v in other], [b if v == a else v for v in other]]
    split = [[number if v == (b if i else a) else v for v in other] for i in (0, 1)]
    faces = [face for face in ball.faces.tolist() if face != other] + split + [[b, a, number]]
    scan = ScanMesh(vertices=np.vstack([ball.vertices, beyond]), faces=np.array(faces))
    assert d in turned[0]
    assert examine(scan).closed
    _, step, mesh = untangled(scan)
    assert examine(mesh).solid
    assert step.counts["left"] == 0 == meets(mesh)
    assert certify(mesh).volume_mm3 == pytest.approx(certify(ball).volume_mm3, rel=1e-6)


def test_an_open_surface_is_counted_and_left():
    scan = joined(sphere(10.0, segments=20), sphere(10.0, segments=20, center_mm=[9, 2, 1]))
    opened = scan.with_geometry(scan.vertices, scan.faces[:-1])
    draft, step, _ = untangled(opened)
    assert not step.changed
    assert step.counts["left"] == step.counts["pairs"] > 0
    np.testing.assert_array_equal(draft.faces, opened.faces)


def test_a_clean_body_passes_unchanged():
    part = box([3, 4, 5]).mesh
    draft, step, _ = untangled(part)
    assert step.summary == "No self-intersections."
    np.testing.assert_array_equal(draft.faces, part.faces)

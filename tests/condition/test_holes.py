import numpy as np
import pytest

from mirrorprep.condition.draft import Draft
from mirrorprep.condition.holes import fill_holes
from mirrorprep.geometry.self_intersection import meeting_pairs
from mirrorprep.geometry.surface_index import SurfaceIndex
from mirrorprep.solid.certify import certify, examine
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.primitives import box, frustum, sphere


def filled(mesh, angle=60.0):
    draft, step = fill_holes(Draft.of(mesh), smooth_angle_deg=angle)
    return draft, step, ScanMesh(vertices=draft.vertices, faces=draft.faces)


def ball_with_holes(*ways, angle=20.0, segments=120):
    ball = sphere(30.0, segments=segments).mesh
    middles = ball.triangles.mean(axis=1)
    middles = middles / np.linalg.norm(middles, axis=1, keepdims=True)
    lost = np.any([middles @ np.array(way) > np.cos(np.radians(angle)) for way in ways], axis=0)
    return ball, ball.with_geometry(ball.vertices, ball.faces[~lost])


def test_holes_of_a_ball_close_to_its_volume_and_flat_ones_do_not():
    ball, opened = ball_with_holes([1, 0, 0], [0, 0.6, 0.8], [0, 0, -1])
    _, step, mesh = filled(opened)
    whole = certify(ball).volume_mm3
    assert certify(mesh).volume_mm3 == pytest.approx(whole, rel=5e-4)
    assert (step.counts["filled"], step.counts["smooth"]) == (3, 3)
    _, step, flat = filled(opened, angle=0.0)
    assert step.counts["flat"] == 3
    assert certify(flat).volume_mm3 < whole * (1 - 5e-3)


@pytest.mark.parametrize("axes", [(1.0, 1.0, 1.0), (1.2, 1.0, 0.84)])
def test_a_filling_lies_within_a_hundredth_of_the_holes_width_and_a_flat_one_does_not(axes):
    # The true surface is the reference: the mesh the hole was cut out of.
    ball = sphere(30.0, segments=120).mesh
    whole = ball.with_geometry(ball.vertices * axes)
    place = whole.vertices[0]
    far = np.linalg.norm(whole.triangles.mean(axis=1) - place, axis=1) > 9.0
    opened = whole.with_geometry(whole.vertices, whole.faces[far])
    share = []
    for angle in (60.0, 0.0):
        made = filled(opened, angle=angle)[0]
        inner = SurfaceIndex(made.vertices, made.faces).closest(
            whole.vertices[whole.faces[~far]].mean(axis=1)
        )
        outer = SurfaceIndex(whole.vertices, whole.faces).closest(made.vertices[len(opened.vertices) :])
        share.append(max(inner.distance_mm.max(), outer.distance_mm.max()) / 18.0)
    smooth, flat = share
    assert smooth < 0.01
    assert flat > 5.0 * smooth


def test_nothing_of_the_scan_moves():
    _, opened = ball_with_holes([1, 0, 0])
    draft, _, _ = filled(opened)
    np.testing.assert_array_equal(draft.vertices[: len(opened.vertices)], opened.vertices)
    np.testing.assert_array_equal(draft.faces[: len(opened.faces)], opened.faces)
    assert (draft.source[len(opened.faces) :] == -1).all()


def test_the_cut_base_of_a_column_is_capped_flat():
    column = frustum([0, 0, 0], [0, 0, 40], start_radius_mm=15, stop_radius_mm=12).mesh
    base = np.ptp(column.vertices[column.faces][:, :, 2], axis=1) > 0
    base |= column.vertices[column.faces][:, :, 2].max(axis=1) > 1
    _, step, mesh = filled(column.with_geometry(column.vertices, column.faces[base]))
    assert step.counts["flat"] == 1
    assert certify(mesh).volume_mm3 == pytest.approx(certify(column).volume_mm3)
    assert mesh.vertices[:, 2].min() == 0.0


def test_the_rim_of_a_cut_pipe_becomes_a_ring():
    pipe = frustum([0, 0, 0], [0, 0, 20], start_radius_mm=9, stop_radius_mm=9) - frustum(
        [0, 0, -1], [0, 0, 21], start_radius_mm=6, stop_radius_mm=6
    )
    wall = np.ptp(pipe.mesh.vertices[pipe.mesh.faces][:, :, 2], axis=1) > 0
    _, step, mesh = filled(pipe.mesh.with_geometry(pipe.mesh.vertices, pipe.mesh.faces[wall]))
    assert step.counts["holes"] == 2
    assert certify(mesh).volume_mm3 == pytest.approx(pipe.volume_mm3)
    assert len(meeting_pairs(mesh.vertices, mesh.faces).all) == 0


def test_a_patch_that_would_cross_the_surface_is_replaced():
    # Behind the hole of the ball stands a post that a bulging or flat patch may meet.
    _, opened = ball_with_holes([0, 0, 1], angle=40.0)
    post = box([1, 1, 4], center_mm=[0, 0, 28.2]).mesh
    both = ScanMesh(
        vertices=np.concatenate([opened.vertices, post.vertices]),
        faces=np.concatenate([opened.faces, post.faces + len(opened.vertices)]),
    )
    _, step, mesh = filled(both)
    assert step.counts["smooth"] == 0
    assert examine(mesh).closed
    assert len(meeting_pairs(mesh.vertices, mesh.faces).all) == 0


def test_an_open_sheet_is_left_open():
    x, y = (part.ravel() for part in np.meshgrid(np.arange(6.0), np.arange(6.0)))
    a = np.add.outer(np.arange(5) * 6, np.arange(5)).ravel()
    faces = np.concatenate([np.stack([a, a + 1, a + 7], 1), np.stack([a, a + 7, a + 6], 1)])
    sheet = ScanMesh(vertices=np.column_stack([x, y, 0 * x]), faces=faces)
    draft, step, _ = filled(sheet)
    assert (step.counts["holes"], step.counts["filled"]) == (1, 0)
    assert not step.changed
    np.testing.assert_array_equal(draft.faces, faces)


def test_a_closed_body_needs_no_filling():
    _, step, _ = filled(box([1, 2, 3]).mesh)
    assert not step.changed
    assert step.summary == "No holes."

import numpy as np
import pytest

from mirrorprep.condition.draft import Draft
from mirrorprep.condition.topology_steps import drop_faulty_faces, drop_islands, orient, split, weld
from mirrorprep.solid.certify import certify, examine
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.primitives import box, sphere


def ball(radius=20.0, **options):
    return sphere(radius, **{"segments": 32, **options}).mesh


def joined(*meshes):
    starts = np.cumsum([0] + [len(m.vertices) for m in meshes])
    faces = np.concatenate([m.faces + s for m, s in zip(meshes, starts, strict=False)])
    return ScanMesh(vertices=np.concatenate([m.vertices for m in meshes]), faces=faces)


def as_mesh(draft):
    return ScanMesh(vertices=draft.vertices, faces=draft.faces)


def soup(mesh):
    return ScanMesh(
        vertices=mesh.triangles.reshape(-1, 3), faces=np.arange(3 * len(mesh.faces)).reshape(-1, 3)
    )


def test_welding_closes_a_soup_without_moving_anything():
    mesh = ball()
    draft, step = weld(Draft.of(soup(mesh)), tolerance_mm=0.0)
    assert examine(as_mesh(draft)).solid
    assert step.counts["joined"] == 3 * len(mesh.faces) - len(mesh.vertices)
    assert not draft.moved_mm.any()


def test_a_tolerance_joins_open_edges_only_and_reports_the_movement():
    # Two walls 0.05 apart, one closed box; a seam of 0.02 in another one.
    wall = box([10, 10, 0.05]).mesh
    seam = box([4, 4, 4], center_mm=[30, 0, 0]).mesh
    points, faces = np.array(seam.vertices), np.array(seam.faces)
    top = np.ptp(points[faces][:, :, 2], axis=1) + (points[faces][:, :, 2].min(axis=1) < 0) == 0
    lid = points + np.array([0, 0, 0.02])
    opened = ScanMesh(
        vertices=np.concatenate([points, lid]), faces=np.concatenate([faces[~top], faces[top] + len(points)])
    )
    draft, step = weld(Draft.of(joined(wall, opened)), tolerance_mm=0.06)
    assert examine(as_mesh(draft)).solid
    assert step.counts["moved"] == 4
    assert draft.moved_mm.max() == pytest.approx(0.02)
    assert (draft.moved_mm > 0).sum() == 4


def test_repeated_and_collapsed_faces_go_and_the_rest_stays():
    mesh = ball()
    faces = np.concatenate([mesh.faces, mesh.faces[7:9], mesh.faces[3:4, ::-1], [[1, 2, 2]]])
    draft, step = drop_faulty_faces(Draft.of(mesh.with_geometry(mesh.vertices, faces)))
    assert (step.counts["collapsed"], step.counts["repeated"]) == (1, 3)
    np.testing.assert_array_equal(draft.faces, mesh.faces)


def test_a_wall_of_no_thickness_between_two_chambers_goes_wholly():
    # Two tetrahedra joined at a face that both of them carry: without it one closed body.
    corners = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [0.2, 0.2, 1], [0.2, 0.2, -1]])
    upper, lower = [[0, 1, 3], [1, 2, 3], [2, 0, 3]], [[1, 0, 4], [2, 1, 4], [0, 2, 4]]
    faces = np.array([*upper, *lower, [0, 2, 1], [0, 1, 2]])
    draft, _ = drop_faulty_faces(Draft.of(ScanMesh(vertices=corners, faces=faces)))
    assert certify(as_mesh(draft)).volume_mm3 == pytest.approx(1 / 3)


def test_islands_are_listed_and_the_largest_body_always_stays():
    mesh = joined(ball(), ball(1.0, center_mm=[50, 0, 0]), ball(5.0, center_mm=[-50, 0, 0]))
    draft, step = drop_islands(Draft.of(mesh), least_share=0.01, least_open_share=0.01)
    assert (step.counts["bodies"], step.counts["dropped"]) == (3, 1)
    assert step.details[0].startswith("closed body of 512 triangles, 12.")
    np.testing.assert_allclose(step.where[0], [50, 0, 0], atol=1.0)
    alone, step = drop_islands(draft, least_share=1.0, least_open_share=1.0)
    assert len(alone.faces) == len(ball().faces)
    assert step.counts["dropped_mm2"] > 300


def test_open_islands_have_their_own_share():
    shard = ball(3.0, center_mm=[50, 0, 0])
    mesh = joined(ball(), shard.with_geometry(shard.vertices, shard.faces[:200]))
    for open_share, dropped in ((0.001, 0), (0.02, 1)):
        _, step = drop_islands(Draft.of(mesh), least_share=0.001, least_open_share=open_share)
        assert step.counts["dropped"] == dropped


def test_flipped_triangles_and_whole_bodies_turn_outward():
    mesh = ball()
    spoilt = np.array(mesh.faces[:, ::-1])
    spoilt[::9] = spoilt[::9, ::-1]
    draft, step = orient(Draft.of(mesh.with_geometry(mesh.vertices, spoilt)))
    assert examine(as_mesh(draft)).solid
    assert step.counts["triangles"] == len(spoilt[::9])
    assert step.counts["bodies"] == 1


@pytest.mark.parametrize("turn", [1, -1])
def test_a_void_stays_a_void_whichever_way_round_the_scan_is(turn):
    hollow = (sphere(20.0, segments=32) - sphere(10.0, segments=32)).mesh
    draft, _ = orient(Draft.of(hollow.with_geometry(hollow.vertices, hollow.faces[:, ::turn])))
    assert certify(as_mesh(draft)).volume_mm3 == pytest.approx(certify(hollow).volume_mm3)


def test_a_void_stays_a_void_when_the_outer_body_is_open():
    hollow = (sphere(20.0, segments=32) - sphere(10.0, segments=32)).mesh
    reach = np.linalg.norm(hollow.triangles.mean(axis=1), axis=1)
    lost = np.flatnonzero(reach > 15)[:40]
    opened = np.delete(hollow.faces, lost, axis=0)
    draft, step = orient(Draft.of(hollow.with_geometry(hollow.vertices, opened)))
    assert not step.changed
    np.testing.assert_array_equal(draft.faces, opened)


def test_splitting_makes_touching_bodies_solid():
    one, two = box([1, 1, 1]).mesh, box([1, 1, 1], center_mm=[1, 1, 0]).mesh
    draft, _ = weld(Draft.of(joined(one, two)), tolerance_mm=0.0)
    assert examine(as_mesh(draft)).non_manifold_edges == 1
    draft, step = split(draft)
    assert certify(as_mesh(draft)).volume_mm3 == 2.0
    assert (step.counts["edges"], step.counts["vertices"]) == (1, 2)


@pytest.mark.parametrize("turn", [1, -1])
def test_fins_and_crumbs_that_hang_on_the_surface_go_with_the_split(turn):
    mesh = ball()
    a, b, c = mesh.faces[100]
    count = len(mesh.vertices)
    out = 1.2 * mesh.vertices[[a, b, c]]
    points = np.concatenate([mesh.vertices, out])
    fin, crumb = [a, b, count][::turn], [c, count + 1, count + 2]
    draft = Draft.of(ScanMesh(vertices=points, faces=np.concatenate([mesh.faces, [fin, crumb]])))
    clean, step = split(draft, least_share=0.01, least_open_share=0.02)
    np.testing.assert_array_equal(clean.faces, mesh.faces)
    assert (step.changed, step.counts["dropped"]) == (True, 2)
    assert step.counts["dropped_mm2"] == pytest.approx(draft.areas_mm2()[-2:].sum())
    kept, step = split(draft)
    assert len(kept.faces) == len(mesh.faces) + 2
    assert step.counts["dropped"] == 0


@pytest.mark.parametrize("step", [drop_faulty_faces, orient, split])
def test_a_sound_body_passes_unchanged(step):
    mesh = ball()
    draft, entry = step(Draft.of(mesh))
    assert not entry.changed
    np.testing.assert_array_equal(draft.faces, mesh.faces)
    np.testing.assert_array_equal(draft.vertices, mesh.vertices)

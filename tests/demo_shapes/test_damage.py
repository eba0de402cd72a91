"""Damaged twins: each damage is there, is counted rightly, and nothing else changes."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import KDTree

from demo_shapes import DAMAGE_KINDS, damage, damaged, phantom_head, refined
from mirrorprep.errors import UsageError
from mirrorprep.geometry.borders import border_loops
from mirrorprep.geometry.mass_properties import area_mm2
from mirrorprep.geometry.topology import bodies, edge_table
from mirrorprep.solid.certify import examine
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.primitives import box, sphere

BALL = sphere(50.0, segments=128).mesh


def test_holes_are_open_and_as_many_as_told():
    twin = damaged(BALL, ["holes"])
    certificate = examine(twin.scan)
    assert certificate.open_edges > 0
    assert certificate.non_manifold_edges == 0
    assert len(border_loops(twin.scan.faces, edge_table(twin.scan.faces))) == twin.account["holes"] == 6
    assert len(BALL.faces) - len(twin.scan.faces) == twin.account["lost_triangles"]


def test_noise_has_the_told_rms():
    twin = damaged(BALL, ["noise"])
    radius = np.linalg.norm(twin.scan.vertices, axis=1)
    assert (radius - 50.0).std() == pytest.approx(twin.account["noise_rms_mm"], rel=0.05)
    assert examine(twin.scan).solid


def test_islands_are_closed_bodies_apart():
    twin = damaged(BALL, ["islands"])
    count, label = bodies(twin.scan.faces, len(twin.scan.vertices))
    assert count == 1 + twin.account["islands"]
    assert examine(twin.scan).solid
    main = twin.scan.vertices[np.unique(twin.scan.faces[label == 0])]
    for number in range(1, count):
        island = twin.scan.vertices[np.unique(twin.scan.faces[label == number])]
        assert KDTree(main).query(island)[0].min() > 0.1


def test_spikes_stick_out():
    twin = damaged(BALL, ["spikes"])
    out = np.linalg.norm(twin.scan.vertices, axis=1) - 50.0
    assert (out > 0.5).sum() == twin.account["spikes"]


@pytest.mark.parametrize(
    ("kind", "field"), [("duplicates", "non_manifold_edges"), ("flipped", "inconsistent_edges")]
)
def test_repeated_and_turned_triangles(kind, field):
    certificate = examine(damage(BALL, [kind]))
    assert 80 <= getattr(certificate, field) <= 120


def test_degenerate_triangles():
    twin = damaged(BALL, ["degenerate"])
    assert examine(twin.scan).degenerate_faces == twin.account["degenerate_triangles"]


def test_inverted_has_the_negative_volume():
    certificate = examine(damage(BALL, ["inverted"]))
    assert certificate.closed
    assert certificate.signed_volume_mm3 == pytest.approx(-examine(BALL).signed_volume_mm3)


def test_open_base_takes_off_the_flat_end():
    post = refined(box([20, 20, 100]).mesh, 4000)
    dome = ScanMesh(
        vertices=post.vertices * np.where(post.vertices[:, 2:] > 30, [[0.5, 0.5, 1]], 1), faces=post.faces
    )
    twin = damaged(dome, ["open-base"])
    assert twin.account["lost_triangles"] > 0
    assert examine(twin.scan).open_edges > 0
    assert twin.scan.vertices[:, 2].max() == 50.0


@pytest.mark.parametrize(("kind", "mm"), [("in-metres", 1000.0), ("in-inches", 25.4)])
def test_wrong_units(kind, mm):
    twin = damaged(BALL, [kind])
    assert np.allclose(twin.scan.size_mm * mm, BALL.size_mm)
    assert twin.account["unit_factor"] == pytest.approx(1 / mm)


def test_unwelded_triangles_share_nothing():
    twin = damage(BALL, ["unwelded"])
    assert examine(twin).open_edges == 3 * len(BALL.faces)
    assert np.array_equal(twin.triangles, BALL.triangles)


def test_raw_shows_every_fault_and_leaves_the_scan_alone(small_head):
    before = small_head.scan.vertices.tobytes()
    twin = damaged(small_head.scan, ["raw"], seed=4)
    certificate = examine(twin.scan)
    assert certificate.open_edges > 100
    assert certificate.non_manifold_edges > 0
    assert certificate.inconsistent_edges > 0
    assert certificate.degenerate_faces == 40
    assert bodies(twin.scan.faces, len(twin.scan.vertices))[0] >= 6
    assert small_head.scan.vertices.tobytes() == before


@given(st.lists(st.sampled_from(DAMAGE_KINDS), min_size=1, max_size=3), st.integers(0, 99))
@settings(deadline=None, max_examples=20, derandomize=True)
def test_same_seed_same_bytes(kinds, seed):
    first, second = damage(BALL, kinds, seed), damage(BALL, kinds, seed)
    assert first.vertices.tobytes() == second.vertices.tobytes()
    assert first.faces.tobytes() == second.faces.tobytes()


def test_refining_keeps_form_and_counts():
    fine = refined(BALL, 50_001)
    assert len(fine.faces) in (50_001, 50_002)
    assert examine(fine).solid
    assert examine(fine).signed_volume_mm3 == pytest.approx(examine(BALL).signed_volume_mm3, rel=1e-13)
    assert area_mm2(fine.vertices, fine.faces) == pytest.approx(
        area_mm2(BALL.vertices, BALL.faces), rel=1e-13
    )
    assert np.array_equal(fine.vertices[: len(BALL.vertices)], BALL.vertices)


def test_refining_ties_and_open_edges():
    cube = box([1, 1, 1]).mesh
    assert examine(refined(cube, 5000)).solid
    sheet = ScanMesh(vertices=cube.vertices, faces=cube.faces[:3])
    assert area_mm2(refined(sheet, 999).vertices, refined(sheet, 999).faces) == pytest.approx(
        area_mm2(sheet.vertices, sheet.faces)
    )


def test_a_scan_of_a_million_triangles_can_be_made(full_head):
    twin = damaged(refined(full_head.scan, 1_000_000), ["raw"])
    assert 950_000 < len(twin.scan.faces) < 1_000_100
    assert examine(twin.scan).open_edges > 100


def test_what_cannot_be_damaged_is_refused():
    with pytest.raises(UsageError, match="'rust' is not a damage"):
        damage(BALL, ["rust"])
    with pytest.raises(UsageError, match="12 triangles is too coarse"):
        damage(box([1, 1, 1]).mesh, ["holes"])


def test_asymmetric_heads_can_be_damaged_too():
    head = phantom_head("small", asymmetry_mm=0.5, seed=2)
    assert examine(damage(head.scan, ["holes"], 1)).open_edges > 0

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from mirrorprep.errors import NoPartingError, UsageError
from mirrorprep.mould.parting import AS_GOOD_SHARE, Guide, find_parting, parting_findings, view_part
from mirrorprep.mould.undercut import trapped_volumes
from mirrorprep.solid.primitives import box, frustum, sphere
from mirrorprep.solid.solid import union

Z = np.array([0.0, 0.0, 1.0])


@pytest.fixture(scope="module")
def saddled(saddle_body, shapes):
    part = saddle_body.transformed(shapes.tilt)
    return part, find_parting(part, margin_mm=15.0)


def test_saddle_opens(saddled, shapes):
    part, surface = saddled
    body, half_a, half_b, _ = shapes.split_block(part, surface)
    assert surface.kind == "contour"
    assert surface.search.for_contour.direction == pytest.approx(tuple(surface.pull_direction))
    assert surface.bound_mm3 <= 1e-6 * part.volume_mm3
    assert surface.trapped_mm3 - surface.bound_mm3 <= 2e-5 * part.volume_mm3
    assert shapes.opened(body, half_a, Z) <= 2e-5 * part.volume_mm3
    assert shapes.opened(body, half_b, -Z) <= 2e-5 * part.volume_mm3


def test_a_plane_would_not_open(saddled, shapes):
    part, contour = saddled
    flat = find_parting(part, pull_direction=contour.pull_direction, kind="plane", margin_mm=15.0)
    body, half_a, half_b, _ = shapes.split_block(part, flat)
    held = shapes.opened(body, half_a, Z) + shapes.opened(body, half_b, -Z)
    assert flat.search is None
    assert held > 0.02 * part.volume_mm3
    assert flat.trapped_mm3 == pytest.approx(
        trapped_volumes(part, flat.pull_direction).best_trapped_mm3, rel=0.02
    )


def test_halves_fill_the_block_and_survive_float32(saddled, shapes):
    part, surface = saddled
    _, half_a, half_b, block_mm3 = shapes.split_block(part, surface)
    assert half_a.volume_mm3 + half_b.volume_mm3 + part.volume_mm3 == pytest.approx(block_mm3, rel=1e-12)
    assert (half_a & half_b).volume_mm3 <= 1e-12 * block_mm3
    for half in (half_a, half_b):
        assert shapes.float32_faults(half) == (0, 0)
        assert len(half.fragments()) == 1


def test_cavity_is_the_parts_own_surface(saddled, shapes):
    part, surface = saddled
    body, half_a, half_b, _ = shapes.split_block(part, surface)
    have = {tuple(p) for p in np.round(np.vstack([half_a.mesh.vertices, half_b.mesh.vertices]), 7)}
    want = [tuple(p) for p in np.round(body.mesh.vertices, 7)]
    assert all(point in have for point in want)


def test_bunny_reaches_the_bound(bunny, shapes):
    surface = find_parting(bunny, margin_mm=15.0)
    assert surface.kind == "contour"
    assert surface.trapped_mm3 - surface.bound_mm3 <= 1e-4 * bunny.volume_mm3
    body, half_a, half_b, _ = shapes.split_block(bunny, surface)
    pull = surface.pull_direction
    plane = find_parting(bunny, pull_direction=pull, kind="plane", margin_mm=15.0)
    assert surface.trapped_mm3 < 0.1 * plane.trapped_mm3
    for half, pull in ((half_a, Z), (half_b, -Z)):
        assert shapes.opened(body, half, pull) <= surface.trapped_mm3
        assert shapes.float32_faults(half) == (0, 0)


def test_shared_meshes_part(shared_data, shapes):
    part = shapes.ply_solid(shared_data / "organic" / "spot-cow.obj", 100.0)
    surface = find_parting(part, margin_mm=12.0)
    assert surface.trapped_mm3 - surface.bound_mm3 <= 1e-4 * part.volume_mm3
    _, half_a, half_b, block_mm3 = shapes.split_block(part, surface)
    assert half_a.volume_mm3 + half_b.volume_mm3 + part.volume_mm3 == pytest.approx(block_mm3, rel=1e-12)
    for half in (half_a, half_b):
        assert shapes.float32_faults(half) == (0, 0)


def test_outline_lies_on_the_part(saddled):
    from scipy.spatial import cKDTree

    part, surface = saddled
    corners = part.mesh.triangles
    dense = np.vstack([corners.mean(axis=1), *(corners[:, k] for k in range(3))])
    assert len(surface.outline) == 1
    assert cKDTree(dense).query(surface.outline[0])[0].max() < 1.0


PLAIN = {
    "ball": lambda: sphere(20.0, segments=96),
    "box": lambda: box([40, 30, 20]),
    "cone": lambda: frustum([0, 0, 0], [0, 0, 30], start_radius_mm=15, stop_radius_mm=10),
    "dome": lambda: sphere(20.0, segments=96).split_by_plane([0, 0, 1], 0.0)[0],
    "stepped": lambda: union([box([40, 30, 10]), box([10, 10, 30], center_mm=[3, 2, 5])]),
}


@pytest.mark.parametrize("name", PLAIN)
def test_plain_bodies_get_a_plane_that_opens(name, shapes):
    part = PLAIN[name]()
    surface = find_parting(part, pull_direction=[0, 0, 1], margin_mm=10.0)
    assert surface.kind == "plane"
    assert surface.steepest_deg == 0.0
    assert surface.trapped_mm3 <= AS_GOOD_SHARE * part.volume_mm3
    body, half_a, half_b, block_mm3 = shapes.split_block(part, surface)
    assert half_a.volume_mm3 + half_b.volume_mm3 + part.volume_mm3 == pytest.approx(block_mm3, rel=1e-12)
    for half, pull in ((half_a, Z), (half_b, -Z)):
        assert shapes.opened(body, half, pull) <= 2e-5 * part.volume_mm3
        assert shapes.float32_faults(half) == (0, 0)


def test_plane_keeps_clear_of_a_flat_base():
    dome = sphere(20.0, segments=96).split_by_plane([0, 0, 1], 0.0)[0]
    surface = find_parting(dome, pull_direction=[0, 0, 1], kind="plane", margin_mm=10.0)
    assert 0.002 < surface.field.height_mm[0] < 0.05
    assert len(surface.outline) == 1


@settings(deadline=None, max_examples=4, derandomize=True)
@given(st.integers(0, 10_000))
def test_random_bodies_part_at_their_bound(shapes, seed):
    rng = np.random.default_rng(seed)
    balls = [
        sphere(float(r), center_mm=c, segments=40)
        for r, c in zip(
            rng.uniform(6, 12, 5), np.cumsum(rng.normal(scale=5.0, size=(5, 3)), axis=0), strict=True
        )
    ]
    part = union(balls).fragments()[0]
    surface = find_parting(part, pull_direction=rng.normal(size=3), margin_mm=8.0)
    assert surface.trapped_mm3 - surface.bound_mm3 <= AS_GOOD_SHARE * part.volume_mm3
    body, half_a, half_b, block_mm3 = shapes.split_block(part, surface)
    assert half_a.volume_mm3 + half_b.volume_mm3 + part.volume_mm3 == pytest.approx(block_mm3, rel=1e-12)
    for half, pull in ((half_a, Z), (half_b, -Z)):
        assert (
            shapes.opened(body, half, pull, (0.02, 1.0, 8.0)) <= surface.trapped_mm3 + 2e-5 * part.volume_mm3
        )


def test_frame_lies_along_the_part():
    turn = np.eye(4)
    turn[:3, :3] = Rotation.from_euler("z", 33.0, degrees=True).as_matrix()
    surface = find_parting(box([40, 20, 10]).transformed(turn), pull_direction=[0, 0, 2], margin_mm=5.0)
    np.testing.assert_allclose(surface.frame.T @ surface.frame, np.eye(3), atol=1e-12)
    np.testing.assert_allclose(surface.pull_direction, Z, atol=1e-15)
    assert abs(surface.frame[:, 0] @ turn[:3, 0]) == pytest.approx(1.0)
    np.testing.assert_allclose(np.ptp(surface.field.nodes_uv, axis=0), [50.0, 30.0])


def test_solid_below_is_the_rectangle_asked_for(saddled):
    _, surface = saddled
    for low, high in (([-20.0, -10.0], [15.0, 12.0]), ([-90.0, -80.0], [95.0, 70.0])):
        below = surface.solid_below(low, high, -60.0)
        np.testing.assert_allclose(below.bounds_mm[:, :2], [low, high], atol=1e-9)
        assert below.bounds_mm[0, 2] == pytest.approx(-60.0)
        rng = np.random.default_rng(1)
        uv = rng.uniform(low, high, size=(40_000, 2))
        mean = np.mean(surface.height_mm(uv)) + 60.0
        assert below.volume_mm3 == pytest.approx(mean * np.subtract(high, low).prod(), rel=5e-3)
    with pytest.raises(UsageError, match="floor"):
        surface.solid_below([-1, -1], [1, 1], 1000.0)


def test_guides_reach_the_surface(saddle_body):
    guide = Guide.channel([45, 0, 24], [60, 0, 20], 3.0)
    surface = find_parting(
        saddle_body, pull_direction=[0, 0, 1], kind="contour", margin_mm=20.0, guides=[guide]
    )
    along = np.column_stack([np.linspace(46, 59, 30), np.zeros(30)])
    np.testing.assert_allclose(surface.height_mm(along), guide.height_mm(along), atol=1e-6)


def test_steep_land_is_a_finding(saddle_body):
    # a pin beside a deep pit: the outline climbs 40 mm within a few millimetres, more than any land can level
    steps = [box([12, 12, 4], center_mm=[x, 0, z]) for x, z in ((0, 0), (11, 0), (-11, 40))]
    part = union([*steps, box([4, 4, 44], center_mm=[-7, 0, 20])])
    steep = find_parting(part, pull_direction=[0, 0, 1], kind="contour", margin_mm=4.0)
    found = parting_findings(steep)
    assert steep.steepest_deg > 46.0
    assert [finding.code for finding in found] == ["parting-steep"]
    assert found[0].measured == steep.steepest_deg
    wide = find_parting(saddle_body, pull_direction=[0, 0, 1], kind="contour", margin_mm=30.0)
    assert parting_findings(wide) == ()


def test_wrong_questions_are_refused():
    part = box([10, 10, 10])
    with pytest.raises(UsageError, match="no kind of parting"):
        find_parting(part, kind="curved", margin_mm=5.0)
    with pytest.raises(UsageError, match="margin"):
        find_parting(part, margin_mm=0.0)
    with pytest.raises(UsageError, match="not a direction"):
        find_parting(part, pull_direction=[0, 0, 0], margin_mm=5.0)
    with pytest.raises(NoPartingError, match="empty"):
        find_parting(part - box([11, 11, 11]), margin_mm=5.0)


def test_rough_surface_is_near_and_changes_no_result(saddle_body):
    view = view_part(saddle_body, pull_direction=Z, kind="contour")
    rough = view.rough(saddle_body.simplified(0.02), 15.0)
    cold = view.surface(15.0)
    warm = view.surface(15.0, start=rough.field)
    np.testing.assert_allclose(warm.field.height_mm, cold.field.height_mm, atol=1e-6)
    low, high = cold.field.low_uv + 1.0, cold.field.high_uv - 1.0
    places = np.random.default_rng(1).uniform(low, high, size=(400, 2))
    off = np.abs(rough.height_mm(places) - cold.height_mm(places))
    assert np.median(off) < 0.2
    assert off.max() < 0.1 * np.ptp(cold.field.height_mm)

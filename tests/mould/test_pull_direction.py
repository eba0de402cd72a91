import numpy as np
import pytest

from mirrorprep.errors import CancelledError, NoPartingError
from mirrorprep.mould.pull_direction import hemisphere, search_pull_direction
from mirrorprep.mould.undercut import trapped_volumes
from mirrorprep.progress import Progress
from mirrorprep.solid.certify import certify
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.primitives import box, sphere
from mirrorprep.solid.solid import union


def angle_deg(one, other):
    return np.degrees(np.arccos(min(1.0, abs(float(np.dot(one, other))))))


def test_hemisphere_is_even():
    axes = hemisphere(512)
    np.testing.assert_allclose(np.linalg.norm(axes, axis=1), 1.0)
    nearness = np.abs(axes @ axes.T)
    np.fill_diagonal(nearness, 0.0)
    nearest = np.degrees(np.arccos(nearness.max(axis=1)))
    assert nearest.min() > 3.0
    assert nearest.max() < 9.0


def test_torus_is_pulled_along_its_axis_however_it_lies(shapes):
    ring = shapes.torus(around=120, across=60).transformed(shapes.tilt)
    found = search_pull_direction(ring)
    axis = shapes.tilt[:3, 2]
    assert angle_deg(found.for_plane.direction, axis) < 1.0
    assert angle_deg(found.for_contour.direction, axis) < 1.0
    assert found.for_plane.plane_trapped_mm3 < 5e-3 * found.volume_mm3
    assert found.for_contour.bound_mm3 < 1e-4 * found.volume_mm3


def test_plane_offset_is_in_the_parts_coordinates(shapes):
    far = shapes.torus(around=120, across=60).translated([300.0, -200.0, 80.0])
    pull = search_pull_direction(far, directions=128).for_plane
    assert pull.plane_offset_mm == pytest.approx(np.dot(pull.direction, [300.0, -200.0, 80.0]), abs=0.2)


def test_saddle_wants_a_contour(saddle_body):
    found = search_pull_direction(saddle_body)
    assert found.for_contour.bound_mm3 < 1e-4 * found.volume_mm3
    assert found.for_plane.plane_trapped_mm3 > 0.02 * found.volume_mm3


@pytest.fixture(scope="module")
def found_bunny(bunny):
    return search_pull_direction(bunny)


def test_search_is_as_good_as_measuring_every_direction_on_the_part(bunny, found_bunny):
    # brute force: 150 other directions, on the part itself, 128 columns
    found = found_bunny
    every = [trapped_volumes(bunny, axis, columns=128) for axis in hemisphere(150)]
    volume = bunny.volume_mm3
    assert found.for_plane.plane_trapped_mm3 <= min(t.best_trapped_mm3 for t in every) + 1e-3 * volume
    assert found.for_contour.bound_mm3 <= min(t.bound_mm3 for t in every) + 3e-4 * volume
    assert found.coarse_error < 0.01
    assert len(found.alternatives) >= 2
    for other in found.alternatives:
        assert other.bound_mm3 >= 0.0
        assert np.linalg.norm(other.direction) == pytest.approx(1.0)


def test_landscape_agrees_with_the_part(bunny, found_bunny):
    found = found_bunny
    for k in range(0, len(found.directions), 40):
        full = trapped_volumes(bunny, found.directions[k])
        assert found.bound_mm3[k] == pytest.approx(full.bound_mm3, abs=0.01 * bunny.volume_mm3)
        assert found.plane_trapped_mm3[k] == pytest.approx(full.best_trapped_mm3, abs=0.01 * bunny.volume_mm3)
        assert found.plane_offset_mm[k] == pytest.approx(full.best_offset_mm, abs=1.0)


def organic(seed):
    """A lump of balls, most of them in a bent row, finer than the search's close copy."""
    rng = np.random.default_rng(seed)
    along = np.linspace(-1.0, 1.0, 7)
    row = np.column_stack([24.0 * along, 9.0 * along**2, 5.0 * np.sin(3.0 * along)])
    places = np.vstack([row, rng.uniform(-14.0, 14.0, size=(4, 3))])
    balls = [sphere(rng.uniform(4.0, 8.0), center_mm=place, segments=96) for place in places]
    return union(balls)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_search_is_not_worse_than_brute_force_on_random_bodies(seed):
    # brute force: 120 directions on the part itself, 128 columns, whose own noise is some 2e-4 of the volume
    part = organic(seed)
    assert len(part.mesh.faces) > 12_000
    found = search_pull_direction(part)
    every = [trapped_volumes(part, axis, columns=128) for axis in hemisphere(120)]
    volume = part.volume_mm3
    assert found.for_contour.bound_mm3 <= min(t.bound_mm3 for t in every) + 3e-4 * volume
    assert found.for_plane.plane_trapped_mm3 <= min(t.best_trapped_mm3 for t in every) + 5e-4 * volume


def test_ellipsoid_is_parted_across_a_principal_axis(shapes):
    # its silhouette is plane along every direction, and across the pull along the principal axes alone
    mesh = sphere(1.0, segments=256).mesh
    body = certify(ScanMesh(vertices=mesh.vertices * [40.0, 30.0, 12.0], faces=mesh.faces))
    pull = search_pull_direction(body.transformed(shapes.tilt)).for_plane
    assert min(angle_deg(pull.direction, axis) for axis in shapes.tilt[:3, :3].T) < 1.5
    assert pull.plane_trapped_mm3 < 1e-3 * body.volume_mm3


def test_dumbbell_is_pulled_across_its_rod(shapes):
    # any pull across the rod traps nothing: W = 0 on a whole circle of directions
    found = search_pull_direction(shapes.dumbbell(segments=192).transformed(shapes.tilt))
    assert abs(np.dot(found.for_contour.direction, shapes.tilt[:3, 2])) < np.sin(np.radians(3.0))
    assert found.for_contour.bound_mm3 < 1e-4 * found.volume_mm3


def test_thin_shell_is_searched_on_copies_that_keep_its_wall():
    # a cup whose wall is thinner than a cell of the clusters: welded, it would trap nothing along any pull
    cup = sphere(30.0, segments=160) - sphere(29.4, segments=160) - box([80, 80, 40], center_mm=[0, 0, 30])
    found = search_pull_direction(cup)
    some = range(0, len(found.directions), 60)
    full = np.array([trapped_volumes(cup, found.directions[k]).bound_mm3 for k in some])
    assert full.min() > 0.5 * found.volume_mm3
    assert np.abs(found.bound_mm3[list(some)] / full - 1.0).mean() < 0.04


def test_search_repeats_itself(saddle_body):
    one, other = (search_pull_direction(saddle_body, directions=64) for _ in range(2))
    assert one.for_contour == other.for_contour
    assert one.for_plane == other.for_plane
    assert one.bound_mm3.tobytes() == other.bound_mm3.tobytes()


def test_box_needs_no_search_to_part():
    found = search_pull_direction(box([30.0, 20.0, 6.0]), directions=64)
    assert found.for_plane.plane_trapped_mm3 < 1e-6
    assert found.for_plane.height_mm == pytest.approx(6.0, abs=1e-6)


def test_an_empty_part_is_refused_and_a_search_can_be_cancelled():
    with pytest.raises(NoPartingError, match="empty"):
        search_pull_direction(box([1, 1, 1]) - box([2, 2, 2]))
    with pytest.raises(CancelledError):
        search_pull_direction(box([1, 1, 1]), progress=Progress(cancelled=lambda: True))

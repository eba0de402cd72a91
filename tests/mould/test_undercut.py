import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mirrorprep.errors import NoPartingError, UsageError
from mirrorprep.mould.undercut import raster_frame, raster_frames, trapped_volumes, unit_direction
from mirrorprep.solid.primitives import box, sphere
from mirrorprep.solid.solid import union

# Closed forms, by integration over the columns of the ideal bodies (sphere, torus, dumbbell).


@pytest.mark.parametrize("height", [-7.0, -3.0, 2.0, 6.0])
def test_ball_cut_off_its_equator(height):
    # trapped = π |h|³ / 3
    ball = sphere(10.0, segments=200)
    found = trapped_volumes(ball, [1.0, 2.0, -1.0], offset_mm=[height], columns=512)
    assert found.trapped_mm3[0] == pytest.approx(np.pi * abs(height) ** 3 / 3.0, rel=0.01)
    assert found.bound_mm3 <= 1e-9 * ball.volume_mm3
    assert abs(found.best_offset_mm) < 0.05


def test_torus_lying_flat_traps_nothing(shapes):
    ring = shapes.torus()
    found = trapped_volumes(ring, [0, 0, 1])
    assert found.bound_mm3 <= 1e-12 * ring.volume_mm3
    assert found.best_trapped_mm3 <= 3e-4 * ring.volume_mm3
    assert found.best_offset_mm == pytest.approx(0.0, abs=0.02)


def test_torus_pulled_sideways(shapes):
    # between the two walls of the tube: π (2 R² r − π R r² + 4 r³ / 3)
    ring = shapes.torus(around=600, across=300)
    exact = np.pi * (2 * 100 * 3 - np.pi * 10 * 9 + 4 * 27 / 3)
    found = trapped_volumes(ring, [1, 0, 0], columns=512)
    assert found.bound_mm3 == pytest.approx(exact, rel=1e-3)
    assert found.best_trapped_mm3 == pytest.approx(exact, rel=2e-3)


def test_dumbbell_pulled_along_its_rod(shapes):
    # 2 π c (R² − q²) − 4 π / 3 (R² − q²)^1.5
    square = 10.0**2 - 3.0**2
    exact = 2 * np.pi * 12.0 * square - 4 * np.pi / 3 * square**1.5
    found = trapped_volumes(shapes.dumbbell(), [0, 0, 1], columns=512)
    assert found.bound_mm3 == pytest.approx(exact, rel=3e-3)


def test_best_plane_is_the_best_of_all_planes(shapes):
    body = union([shapes.dumbbell(segments=48), box([30, 6, 5], center_mm=[4, 3, -9])])
    found = trapped_volumes(body, [0.3, 0.2, 1.0], offset_mm=np.linspace(-25, 25, 2001))
    assert found.best_trapped_mm3 <= found.trapped_mm3.min() + 1e-9
    assert found.trapped_mm3.min() <= found.best_trapped_mm3 * (1 + 1e-3)
    assert abs(found.offset_mm[found.trapped_mm3.argmin()] - found.best_offset_mm) < 0.5
    assert (found.trapped_mm3 >= found.bound_mm3 - 1e-9).all()


def test_offsets_are_heights_along_the_direction_of_the_part():
    far = sphere(10.0, segments=64).translated([100.0, 50.0, -20.0])
    direction = unit_direction([1, 1, 1])
    found = trapped_volumes(far, direction)
    assert found.best_offset_mm == pytest.approx(float(direction @ [100.0, 50.0, -20.0]), abs=0.1)
    assert len(found.offset_mm) == 65


@settings(deadline=None, max_examples=15, derandomize=True)
@given(st.lists(st.floats(-1, 1), min_size=3, max_size=3).filter(lambda d: np.linalg.norm(d) > 0.1))
def test_a_turned_part_traps_the_same_along_the_turned_direction(shapes, direction):
    part = shapes.dumbbell(segments=48)
    one = trapped_volumes(part, direction)
    other = trapped_volumes(part.transformed(shapes.tilt), shapes.tilt[:3, :3] @ direction)
    assert other.bound_mm3 == pytest.approx(one.bound_mm3, abs=4e-3 * part.volume_mm3)
    assert other.best_trapped_mm3 == pytest.approx(one.best_trapped_mm3, abs=4e-3 * part.volume_mm3)


def test_sampling_error_is_that_of_the_volume():
    ball = sphere(10.0, segments=100)
    found = trapped_volumes(ball, [0, 0, 1], columns=64)
    assert found.volume_mm3 / ball.volume_mm3 - 1.0 == pytest.approx(found.sampling_error)
    assert 0.0 < abs(found.sampling_error) < 1e-2


def test_frame_is_a_rotation_about_the_direction():
    frame = raster_frame([1.0, -2.0, 0.5])
    np.testing.assert_allclose(frame.T @ frame, np.eye(3), atol=1e-12)
    assert np.linalg.det(frame) == pytest.approx(1.0)
    np.testing.assert_allclose(frame[:, 2], unit_direction([1.0, -2.0, 0.5]))


def test_frames_of_many_directions_are_those_of_each():
    directions = np.vstack([np.eye(3), -np.eye(3), np.random.default_rng(4).normal(size=(50, 3))])
    directions /= np.linalg.norm(directions, axis=1)[:, None]
    each = [raster_frame(direction) for direction in directions]
    np.testing.assert_allclose(raster_frames(directions), each, atol=1e-14)


@pytest.mark.parametrize("direction", [[0, 0, 0], [1, 2], [np.nan, 0, 1], [np.inf, 0, 0]])
def test_what_is_no_direction_is_refused(direction):
    with pytest.raises(UsageError, match="is not a direction"):
        trapped_volumes(box([1, 1, 1]), direction)


def test_an_empty_part_is_refused():
    with pytest.raises(NoPartingError, match="empty"):
        trapped_volumes(box([1, 1, 1]) - box([2, 2, 2]), [0, 0, 1])

"""The undercut of a direction turned by hand: worked shapes, and the mould's own slower measures."""

import numpy as np
import pytest

from mirrorprep.bench.undercut import UndercutFollower
from mirrorprep.errors import UsageError
from mirrorprep.mould.parting import find_parting
from mirrorprep.mould.undercut import trapped_volumes
from mirrorprep.mould.undercut_map import undercut_map
from mirrorprep.solid.primitives import box, sphere


def follower_of(part, **options):
    return UndercutFollower(part.mesh.vertices, part.mesh.faces, **options)


@pytest.fixture(scope="module")
def hook():
    return _hooked()


def _hooked():
    """A plate with a hook, turned so that no facet lies along an axis."""
    hook = box([40, 30, 6]) + box([8, 30, 22], center_mm=[16, 0, 11]) + box([24, 30, 6], center_mm=[8, 0, 22])
    turn = np.linalg.qr(np.array([[1.0, 0.3, 0.2], [0.1, 1.0, 0.4], [0.3, 0.1, 1.0]]))[0]
    matrix = np.eye(4)
    matrix[:3, :3] = turn * np.sign(np.linalg.det(turn))
    return (hook + sphere(7.0, center_mm=[-14, 8, 6], segments=48)).transformed(matrix)


def test_a_ball_is_free_in_every_direction():
    """Convex: nothing is trapped by the best surface, nor by the plane through its middle."""
    ball = follower_of(sphere(10.0, segments=64))
    for direction in np.random.default_rng(3).normal(size=(6, 3)):
        found = ball.along(direction)
        assert found.bound_mm3 == 0.0
        assert found.depth_mm.max() == 0.0
        assert found.plane_trapped_mm3 < 0.002 * found.volume_mm3
        assert found.plane_offset_mm == pytest.approx(0.0, abs=0.1)


def test_a_channel_is_hooked_to_half_its_width():
    """A C of 30 mm depth along y, its mouth toward −x: pulled along z the 20 × 30 × 10 mm slot is trapped.

    Worked by hand: 6000 mm³. In its slice what comes free begins at the outline, 30 × 30 mm, and so lies
    15 mm from the middle on all four sides.
    """
    part = box([30, 30, 30]) - box([20, 40, 10], center_mm=[-5, 0, 0])
    found = follower_of(part, at=np.array([[0.0, 0.0, 5.0], [-20.0, 0.0, 0.0]])).along([0, 0, 1])
    assert found.bound_mm3 == pytest.approx(6000.0, rel=0.02)
    assert found.volume_mm3 == pytest.approx(27000 - 6000, rel=0.01)
    assert found.depth_mm[0] == pytest.approx(15.0, abs=1.5 * found.voxel_mm)
    free = follower_of(part).along([1, 0, 0])
    assert free.bound_mm3 < 0.01 * free.volume_mm3


def test_figures_agree_with_the_slow_measure(hook):
    """`trapped_volumes` walks the same columns with its own kernel and twice as many of them."""
    quick = follower_of(hook)
    for direction in np.random.default_rng(7).normal(size=(5, 3)):
        found, slow = quick.along(direction), trapped_volumes(hook, direction)
        assert found.bound_mm3 == pytest.approx(slow.bound_mm3, abs=0.01 * slow.volume_mm3)
        assert found.plane_trapped_mm3 == pytest.approx(slow.best_trapped_mm3, abs=0.01 * slow.volume_mm3)
        span = np.ptp(hook.mesh.vertices @ slow.direction)
        at = trapped_volumes(hook, direction, offset_mm=[found.plane_offset_mm]).trapped_mm3[0]
        assert at == pytest.approx(slow.best_trapped_mm3, abs=0.01 * slow.volume_mm3), span


def test_depths_agree_with_the_map_of_the_mould(hook):
    """The map that the mould makes afterwards, for the best plane across the same direction."""
    direction = np.array([0.4, -0.2, 1.0])
    parting = find_parting(hook, pull_direction=direction, margin_mm=6.0, kind="plane")
    slow = undercut_map(hook, parting, voxels=128)
    middles = hook.mesh.triangles.mean(axis=1)
    quick = UndercutFollower(hook.mesh.vertices, hook.mesh.faces, at=middles, voxels=128)
    found = quick.along(parting.frame[:, 2], plane=True)
    assert found.voxel_mm == pytest.approx(slow.voxel_mm, rel=0.2)
    assert found.depth_mm.max() == pytest.approx(slow.depth_mm.max(), abs=3 * slow.voxel_mm)
    close = np.abs(found.depth_mm - slow.depth_mm) < 2.5 * slow.voxel_mm
    assert close.mean() > 0.9


def test_opposite_directions_are_the_same_pull(hook):
    quick = follower_of(hook)
    one, other = quick.along([0.2, 0.5, 1.0]), quick.along([-0.2, -0.5, -1.0])
    assert one.bound_mm3 == pytest.approx(other.bound_mm3, rel=0.02)


def test_plane_takes_the_planes_volume():
    found = follower_of(_hooked()).along([0, 0, 1], plane=True)
    assert found.as_dict(plane=True)["trapped_mm3"] == found.plane_trapped_mm3
    assert found.as_dict()["trapped_mm3"] == found.bound_mm3
    assert 0.0 < found.as_dict()["share"] < 1.0


@pytest.mark.parametrize("direction", [[0, 0, 0], [1, 2], [np.nan, 0, 1]])
def test_what_is_no_direction(direction):
    with pytest.raises(UsageError, match="not a direction"):
        follower_of(box([1, 2, 3])).along(direction)

import numpy as np
import pytest

from mirrorprep.mould.parting import find_parting
from mirrorprep.mould.undercut_map import undercut_map, verdict
from mirrorprep.solid.finding import Severity
from mirrorprep.solid.primitives import box


@pytest.fixture(scope="module")
def bone(shapes):
    part = shapes.dumbbell(segments=96)
    surface = find_parting(part, pull_direction=[0, 0, 1], kind="plane", margin_mm=5.0)
    return part, surface, undercut_map(part, surface)


def test_dumbbell_hooks_as_deep_as_its_ball_stands_over_its_rod(bone):
    # at the middle the trapped ring reaches from the rod (3) to the shadow of the ball (10)
    _, _, found = bone
    assert found.max_mm == pytest.approx(7.0, abs=1.2 * found.voxel_mm)
    assert 0.0 < found.median_mm < found.p95_mm <= found.max_mm


def test_voxels_agree_with_the_closed_form(bone):
    _, surface, found = bone
    square = 10.0**2 - 3.0**2
    exact = 2 * np.pi * 12.0 * square - 4 * np.pi / 3 * square**1.5
    assert found.trapped_mm3 == pytest.approx(exact, rel=0.02)
    assert surface.trapped_mm3 == pytest.approx(exact, rel=0.02)
    assert found.deep_mm3 < found.trapped_mm3


def test_strain_is_that_of_the_ring_rule(bone):
    # the ball (10) must pass where the rod (3) is: 7 / 10 at the middle, less elsewhere
    _, _, found = bone
    assert 0.5 < found.strain <= 0.72


def test_map_marks_the_inner_faces_only(bone):
    part, _, found = bone
    middle = part.mesh.triangles.mean(axis=1)
    rod = np.hypot(middle[:, 0], middle[:, 1]) < 3.01
    outer = np.abs(middle[:, 2]) > 13.0
    assert (found.depth_mm[rod & (np.abs(middle[:, 2]) < 1)] > 5.0).all()
    assert (found.depth_mm[outer] == 0.0).all()
    assert found.depth_mm.shape == (len(part.mesh.faces),)


def test_places_of_the_deepest_hooks_are_on_the_rod_in_the_parts_coordinates(bone, shapes):
    part = bone[0].transformed(shapes.tilt).translated([50, 0, 0])
    surface = find_parting(part, pull_direction=shapes.tilt[:3, 2], kind="plane", margin_mm=5.0)
    found = undercut_map(part, surface)
    back = (np.array(found.where_mm) - [50, 0, 0]) @ shapes.tilt[:3, :3]
    assert np.hypot(back[:, 0], back[:, 1]).max() < 5.0
    assert np.abs(back[:, 2]).max() < 9.0


def test_verdicts_of_a_hooked_part(bone):
    _, surface, found = bone
    rigid = verdict(found, surface)
    assert not rigid.releases
    assert rigid.finding.severity is Severity.STOP
    assert rigid.finding.code == "rigid-casting-locked"
    assert "no parting along this pull traps less" in rigid.finding.remedy
    soft = verdict(found, surface, casting="flexible", safe_strain=1.0)
    assert soft.releases
    assert "by flexing" in soft.sentence
    stiff = verdict(found, surface, casting="flexible", safe_strain=0.2)
    assert not stiff.releases
    assert stiff.finding.code == "flexible-casting-locked"
    assert stiff.measured > stiff.limit == 0.2


def test_a_plain_part_releases():
    part = box([20, 16, 12])
    surface = find_parting(part, pull_direction=[0, 0, 1], margin_mm=5.0)
    found = undercut_map(part, surface)
    assert found.max_mm == found.trapped_mm3 == found.strain == 0.0
    assert found.where_mm == ()
    for casting in ("rigid", "flexible"):
        judged = verdict(found, surface, casting=casting)
        assert judged.releases
        assert judged.finding is None


def test_a_thin_but_deep_groove_still_locks_a_rigid_casting():
    # a groove that traps under 1e-4 of the volume, 3 mm deep all along one wall
    part = box([60, 60, 60]) - box([3.0, 5.0, 1.2], center_mm=[28.5, 0, 0])
    surface = find_parting(part, pull_direction=[0, 0, 1], kind="plane", margin_mm=5.0)
    found = undercut_map(part, surface)
    assert surface.trapped_mm3 < 1e-4 * part.volume_mm3
    assert found.max_mm == pytest.approx(3.0, abs=found.voxel_mm)
    assert not verdict(found, surface).releases


def test_plain_data(bone):
    data = bone[2].as_dict()
    assert data["max_mm"] == bone[2].max_mm
    assert all(isinstance(value, float) for value in data.values())

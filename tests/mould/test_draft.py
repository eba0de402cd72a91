import numpy as np
import pytest

from mirrorprep.mould.draft import draft_map
from mirrorprep.mould.parting import find_parting
from mirrorprep.solid.primitives import box, frustum, sphere


def level(part):
    return find_parting(part, pull_direction=[0, 0, 1], kind="plane", margin_mm=5.0)


@pytest.mark.parametrize("angle", [2.0, 7.0, 20.0])
def test_cone_has_its_own_draft(angle):
    radius = 10.0 - 10.0 * np.tan(np.radians(angle))
    cone = frustum([0, 0, 0], [0, 0, 10], start_radius_mm=10, stop_radius_mm=radius, segments=720)
    found = draft_map(cone, level(cone))
    wall = np.abs(cone.mesh.triangles.mean(axis=1)[:, 2] - 5.0) < 4.5
    np.testing.assert_allclose(np.abs(found.draft_deg[wall & found.in_half_a]), angle, atol=0.01)


def test_box_has_none_on_its_walls():
    found = draft_map(box([20, 20, 20]), level(box([20, 20, 20])))
    assert sorted(set(np.round(found.draft_deg, 9))) == [0.0, 90.0]
    assert found.low_share == pytest.approx(2.0 / 3.0)
    assert found.negative_share == 0.0
    assert found.least_deg == 0.0


def test_half_of_a_dumbbell_turns_away(shapes):
    part = shapes.dumbbell(segments=96)
    found = draft_map(part, level(part))
    middle = part.mesh.triangles.mean(axis=1)
    inner = (np.abs(middle[:, 2]) < 11.5) & (np.hypot(middle[:, 0], middle[:, 1]) > 3.1)
    assert (found.draft_deg[inner] < 0).all()
    assert found.negative_share > 0.3
    assert found.least_deg < -70.0


def test_ball_by_area():
    # area of a ball's zone is proportional to its height: the median draft has sin = 1/2
    ball = sphere(10.0, segments=160)
    found = draft_map(ball, level(ball))
    assert found.median_deg == pytest.approx(30.0, abs=0.5)
    assert found.as_dict()["median_deg"] == found.median_deg
    assert found.negative_share < 0.01

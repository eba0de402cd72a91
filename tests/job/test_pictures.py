"""What the pictures of a job are drawn from."""

from mirrorprep.job.mould_pictures import ranked_pulls
from mirrorprep.job.pictures import _rivals
from mirrorprep.solid.primitives import box
from mirrorprep.symmetry.search import find_mirror_plane


def test_planes_that_were_not_taken_carry_the_numbers_that_choose_them():
    found = find_mirror_plane(box([20, 30, 50]), choose=2)
    rivals = _rivals(found.as_dict())
    assert list(rivals)[:2] == ["1", "3"]
    assert rivals["1"].angle_deg(found.alternatives[0].plane) == 0.0
    assert all(other.angle_deg(found.plane) > 10.0 for other in rivals.values())


def test_a_stated_plane_has_no_rivals():
    assert _rivals({"normal": [1.0, 0.0, 0.0], "offset_mm": 0.0, "status": "stated"}) == {}


def test_pulls_are_ranked_and_well_apart():
    def pull(direction, bound, plane):
        return {"direction": direction, "bound_mm3": bound, "plane_trapped_mm3": plane}

    figures = {
        "parting": "contour",
        "cavity_volume_mm3": 1000.0,
        "trapped_mm3": 10.0,
        "pull_direction": [0.0, 0.0, -1.0],
        "pull_alternatives": [
            pull([1.0, 0.0, 0.0], 40.0, 50.0),
            pull([0.02, 0.0, 1.0], 11.0, 900.0),  # within 6° of the one taken
            pull([0.0, -0.6, -0.8], 20.0, 600.0),
        ],
    }
    found = ranked_pulls(figures)
    assert [direction.tolist() for direction, _ in found] == [[0, 0, 1], [0.0, 0.6, 0.8], [1, 0, 0]]
    assert [share for _, share in found] == [1.0, 2.0, 4.0]
    assert [share for _, share in ranked_pulls({**figures, "parting": "plane"})] == [1.0, 5.0, 60.0]

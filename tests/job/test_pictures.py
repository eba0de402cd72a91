"""What the pictures of a job are drawn from."""

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

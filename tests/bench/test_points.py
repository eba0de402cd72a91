"""Picked places come back through the readers of landmarks and loops, to the last digit."""

import pytest

from mirrorprep.bench.points import KINDS, kind_named, text_of_picks
from mirrorprep.errors import UsageError
from mirrorprep.seating.landmark_pairs import pair_landmarks, read_sided_points
from mirrorprep.seating.loop import read_loop
from mirrorprep.symmetry.landmarks import read_landmarks

A, B, C = [0.1, 1 / 3, -2e-7], [1, 2, 3], [-4.25, 5.0, 6.5]


def written(tmp_path, kind, data):
    file = tmp_path / kind_named(kind).file
    file.write_text(text_of_picks(kind, data))
    return file


def test_landmarks(tmp_path):
    marks = read_landmarks(written(tmp_path, "landmarks", {"midline": [A, B], "pairs": [[B, C]]}))
    assert list(marks.midline.values()) == [tuple(A), tuple(B)]
    assert list(marks.pairs.values()) == [(tuple(B), tuple(C))]


def test_landmarks_of_two_scans_find_each_other(tmp_path):
    """Right points of a mirrored donor belong to the left points of the recipient."""
    donor = written(tmp_path, "donor_landmarks", {"midline": [A], "right": [B, C]})
    recipient = written(tmp_path, "recipient_landmarks", {"midline": [B], "left": [C, A]})
    pairs = pair_landmarks(read_sided_points(donor), read_sided_points(recipient))
    found = {tuple(d): tuple(r) for d, r in zip(pairs.donor_mm, pairs.recipient_mm, strict=True)}
    assert found == {tuple(A): tuple(B), tuple(B): tuple(C), tuple(C): tuple(A)}


def test_a_loop_is_closed(tmp_path):
    points = read_loop(written(tmp_path, "loop", {"points": [A, B, C]}))
    assert points.tolist() == [A, B, C, A]
    again = read_loop(written(tmp_path, "loop", {"points": [A, B, C, A]}))
    assert again.tolist() == points.tolist()


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_nothing_picked_is_no_file(kind):
    assert text_of_picks(kind, {}) == ""


@pytest.mark.parametrize(
    ("kind", "data"),
    [
        ("landmarks", {"midline": [[1, 2]]}),
        ("landmarks", {"midline": [[1, 2, float("nan")]]}),
        ("landmarks", {"midline": [[1, 2, "3"]]}),
        ("landmarks", {"midline": [[1, 2, True]]}),
        ("landmarks", {"midline": "1 2 3"}),
        ("landmarks", {"midline": [[0, 0, 0]] * 3000}),
        ("landmarks", {"pairs": [[A]]}),
        ("landmarks", {"pairs": [[A, "b"]]}),
        ("loop", {"points": [A, B]}),
        ("loop", {"points": [A, B, A]}),
    ],
)
def test_wrong_picks_are_refused(kind, data):
    with pytest.raises(UsageError):
        text_of_picks(kind, data)


def test_unknown_kind():
    with pytest.raises(UsageError, match="no kind"):
        kind_named("nose")

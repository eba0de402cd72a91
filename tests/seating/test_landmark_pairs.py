"""Landmarks of two scans: reading, pairing, placing, and left and right exchanged."""

import numpy as np
import pytest

from mirrorprep.errors import GeometryError, InputFileError
from mirrorprep.geometry.signed_distance import DistanceField
from mirrorprep.seating.landmark_pairs import (
    LandmarkPairs,
    pair_landmarks,
    placed_by_landmarks,
    read_sided_points,
)
from mirrorprep.solid.primitives import sphere

BALL = sphere(50.0, segments=80).mesh
SKIN = DistanceField(BALL.vertices, BALL.faces)
FACE = {
    ("midline", "nasion"): (0.0, 48.0, 14.0),
    ("midline", "chin"): (0.0, 40.0, -30.0),
    ("right", "eye"): (20.0, 44.0, 12.0),
    ("right", "ear"): (49.0, 5.0, -8.0),
}


def mirrored_face(side="left"):
    other = {"right": side, "midline": "midline"}
    return {(other[s], n): (-x, y, z) for (s, n), (x, y, z) in FACE.items()}


def test_reading(tmp_path):
    file = tmp_path / "marks.txt"
    file.write_text("midline nasion 0 48 14 # root of the nose\n\nright ear 49 5 -8\n")
    assert read_sided_points(file) == {("midline", "nasion"): (0, 48, 14), ("right", "ear"): (49, 5, -8)}


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("top ear 1 2 3\n", "Line 1"),
        ("left ear 1 2\n", "Line 1"),
        ("left ear 1 2 z\n", "Line 1"),
        ("left ear 1 2 inf\n", "Line 1"),
        ("left ear 1 2 3\nleft ear 1 2 3\n", "repeats 'left ear'"),
    ],
)
def test_unreadable_files(tmp_path, text, message):
    file = tmp_path / "marks.txt"
    file.write_text(text)
    with pytest.raises(InputFileError, match=message):
        read_sided_points(file)
    with pytest.raises(InputFileError, match="cannot be read"):
        read_sided_points(tmp_path / "absent.txt")


def test_right_belongs_to_left_when_mirrored():
    pairs = pair_landmarks(FACE, mirrored_face())
    assert pairs.names == ("midline nasion", "midline chin", "right eye", "right ear")
    np.testing.assert_array_equal(pairs.donor_mm * [-1, 1, 1], pairs.recipient_mm)
    with pytest.raises(GeometryError, match=r"exchanged: 2 of the donor, such as 'right eye'"):
        pair_landmarks(FACE, mirrored_face(), mirrored=False)
    with pytest.raises(GeometryError, match=r"exchanged: .* none on the other one"):
        pair_landmarks(FACE, FACE)
    few = {("midline", "nasion"): (0.0, 0.0, 0.0), ("right", "chin"): (0.0, 0.0, 0.0)}
    with pytest.raises(GeometryError, match="1 landmarks of the donor have a partner"):
        pair_landmarks(FACE, few)
    assert len(pair_landmarks(FACE, FACE, mirrored=False).names) == 4


def test_placing_and_misfits():
    pairs = pair_landmarks(FACE, mirrored_face())
    fit, findings = placed_by_landmarks(pairs, SKIN, SKIN)
    np.testing.assert_allclose(fit.matrix, np.diag([-1.0, 1, 1, 1]), atol=1e-12)
    assert findings == ()
    wrong = mirrored_face()
    wrong["left", "ear"] = (-33.0, -36.0, -8.0)
    findings = placed_by_landmarks(pair_landmarks(FACE, wrong), SKIN, SKIN)[1]
    assert {finding.code for finding in findings} == {"landmark-misfit"}
    assert all(finding.measured > 5.0 for finding in findings)


def test_exchanged_sides_are_seen_by_position():
    # The recipient's marks carry the viewer's left: the points of the same side come to lie on each other.
    same_side = {("left" if s == "right" else s, n): place for (s, n), place in FACE.items()}
    with pytest.raises(GeometryError, match=r"exchanged: the donor fits to .* when mirrored"):
        placed_by_landmarks(pair_landmarks(FACE, same_side), SKIN, SKIN)


def test_exchanged_sides_are_seen_by_the_skin_where_positions_tell_nothing():
    # Three points lie in a plane and fit either way round; only the skin's normals tell.
    three = {key: FACE[key] for key in [("midline", "nasion"), ("midline", "chin"), ("right", "ear")]}
    same_side = {("left" if s == "right" else s, n): place for (s, n), place in three.items()}
    with pytest.raises(GeometryError, match="faces as the recipient's only when unmirrored"):
        placed_by_landmarks(pair_landmarks(three, same_side), SKIN, SKIN)


def test_landmarks_in_a_row():
    row = np.column_stack([np.zeros(4), np.arange(0.0, 40.0, 10.0), np.full(4, 49.0)])
    pairs = LandmarkPairs(names=tuple("abcd"), donor_mm=row, recipient_mm=row)
    with pytest.raises(GeometryError, match="lie in a row"):
        placed_by_landmarks(pairs, SKIN, SKIN)

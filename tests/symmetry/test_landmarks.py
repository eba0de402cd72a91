"""Landmark planes against an independent optimiser, closed forms, simulation and open head landmarks."""

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

from mirrorprep.errors import GeometryError, InputFileError, UsageError
from mirrorprep.geometry.reflection import reflect
from mirrorprep.solid.plane import Plane
from mirrorprep.symmetry.landmarks import Landmarks, landmark_plane, read_landmarks

# An invented face in mm, x across, y forward, z up; the true mirror plane is x = 0.
MIDLINE = np.array([[0, 98, 30], [0, 118, -8], [0, 104, -24], [0, 100, -62], [0, 82, -78], [0, 92, 58.0]])
RIGHT = np.array([[16, 86, 28], [44, 74, 28], [18, 96, -14], [26, 90, -40], [74, 2, 0], [70, -8, 30.0]])
FLIP = np.array([-1.0, 1, 1])


def face(rng=None, *, sd=0.0, bad_pairs=0):
    noise = np.zeros((18, 3)) if rng is None else rng.normal(scale=sd, size=(18, 3))
    left = RIGHT * FLIP + noise[6:12]
    right = RIGHT + noise[12:]
    for k in range(bad_pairs):
        right[-1 - k] += rng.normal(size=3) * 15
    return Landmarks(
        midline={f"m{k}": tuple(p) for k, p in enumerate(MIDLINE + noise[:6])},
        pairs={f"p{k}": (tuple(a), tuple(b)) for k, (a, b) in enumerate(zip(left, right, strict=True))},
    )


def angle_to_x(result):
    return result.plane.angle_deg(Plane(normal=np.array([1.0, 0, 0]), offset_mm=0))


@settings(deadline=None, max_examples=20, derandomize=True)
@given(seed=st.integers(0, 10_000))
def test_exact_points_give_the_exact_plane_in_any_pose(seed):
    rng = np.random.default_rng(seed)
    turn, shift = Rotation.random(rng=rng).as_matrix(), rng.normal(size=3) * 200
    marks = face()
    moved = Landmarks(
        midline={k: tuple(turn @ p + shift) for k, p in marks.midline.items()},
        pairs={k: tuple(tuple(turn @ np.array(p) + shift) for p in pair) for k, pair in marks.pairs.items()},
    )
    found = landmark_plane(moved)
    truth = Plane(normal=turn[:, 0], offset_mm=float(turn[:, 0] @ shift))
    assert found.plane.angle_deg(truth) < 1e-5
    assert abs(found.plane.distance_mm(shift)) < 1e-6
    assert not found.findings


def test_maximum_likelihood_agrees_with_a_general_optimiser():
    # The same likelihood with every unknown true point kept as a parameter (scipy.optimize.least_squares).
    marks = face(np.random.default_rng(5), sd=2.0)
    middle = np.array(list(marks.midline.values()))
    left, right = np.moveaxis(np.array(list(marks.pairs.values())), 1, 0)

    def misfit(x):
        normal = np.array([1.0, x[0], x[1]]) / np.sqrt(1 + x[0] ** 2 + x[1] ** 2)
        true_right = x[3:].reshape(-1, 3)
        on_plane = middle @ normal - x[2]
        return np.concatenate(
            [on_plane, (right - true_right).ravel(), (left - reflect(true_right, normal, x[2])).ravel()]
        )

    x = least_squares(misfit, np.concatenate([np.zeros(3), right.ravel()]), xtol=1e-14, ftol=1e-14).x
    other = Plane(normal=np.array([1.0, x[0], x[1]]), offset_mm=x[2])
    found = landmark_plane(marks, robust=False)
    assert found.plane.angle_deg(other) < 1e-5
    assert found.plane.offset_mm == pytest.approx(x[2], abs=1e-5)


def test_one_pair_gives_the_perpendicular_bisector_of_a_published_head():
    # Landmarks of the head surface shipped with mne; bisector evaluated in check-values section 9.
    mne = pytest.importorskip("mne")
    folder = Path(mne.__file__).parent / "data" / "fsaverage"
    points = mne.io.read_fiducials(folder / "fsaverage-fiducials.fif", verbose="error")[0]
    lpa, nasion, rpa = (tuple(float(c) for c in p["r"] * 1000.0) for p in points)
    assert np.linalg.norm(np.subtract(rpa, lpa)) == pytest.approx(164.980014, abs=1e-5)
    found = landmark_plane(Landmarks(pairs={"preauricular": (lpa, rpa)}))
    np.testing.assert_allclose(found.plane.normal, [0.99999367, 0.00355188, 0.00020205], atol=1e-6)
    assert found.plane.offset_mm == pytest.approx(1.762730, abs=1e-5)
    assert angle_to_x(found) == pytest.approx(0.20384, abs=1e-4)
    with_nasion = landmark_plane(Landmarks(midline={"nasion": nasion}, pairs={"preauricular": (lpa, rpa)}))
    assert abs(with_nasion.plane.distance_mm(nasion)) < 1e-5


def test_standard_deviation_against_simulation():
    rng = np.random.default_rng(11)
    runs = [landmark_plane(face(rng, sd=1.5), robust=False) for _ in range(800)]
    angles = np.radians([angle_to_x(run) for run in runs])
    stated = np.median([run.sd_deg for run in runs])
    # sd_deg is the root of the summed variances of the two tilts: the root mean square of the angle.
    assert np.degrees(np.sqrt((angles**2).mean())) == pytest.approx(stated, rel=0.08)
    assert np.median([run.noise_mm for run in runs]) == pytest.approx(1.5, rel=0.05)


def test_standard_deviation_against_the_closed_form():
    # Midline points on a circle of radius r: each tilt has variance s²/Σr²cos² = 2s²/(n r²).
    rng = np.random.default_rng(2)
    n, r = 400, 50.0
    turn = 2 * np.pi * np.arange(n) / n
    points = np.column_stack([rng.normal(scale=0.5, size=n), r * np.cos(turn), r * np.sin(turn)])
    found = landmark_plane(Landmarks(midline={str(k): tuple(p) for k, p in enumerate(points)}), robust=False)
    expected = np.degrees(np.sqrt(2 * 2 * 0.5**2 / (n * r * r)))
    assert found.sd_deg == pytest.approx(expected, rel=0.1)
    assert found.sd_mm == pytest.approx(0.5 / np.sqrt(n), rel=0.1)


@pytest.mark.parametrize("bad", [1, 2])
def test_robust_weights_are_as_good_as_knowing_the_bad_pairs(bad):
    rng = np.random.default_rng(7)
    marks = [face(rng, sd=1.5, bad_pairs=bad) for _ in range(100)]
    spoilt = {f"p{5 - k}" for k in range(bad)}
    known = [
        Landmarks(midline=m.midline, pairs={k: v for k, v in m.pairs.items() if k not in spoilt})
        for m in marks
    ]
    plain, robust = (
        np.median([angle_to_x(landmark_plane(m, robust=r)) for m in marks]) for r in (False, True)
    )
    oracle = np.median([angle_to_x(landmark_plane(m, robust=False)) for m in known])
    assert robust < 1.25 * oracle
    assert plain > 1.8 * robust


def test_a_misplaced_landmark_is_named():
    marks = face(np.random.default_rng(1), sd=0.5)
    pairs = dict(marks.pairs)
    pairs["p3"] = pairs["p3"][1], pairs["p3"][0]
    pairs["p4"] = pairs["p4"][0], tuple(np.add(pairs["p4"][1], [0, 0, 25.0]))
    found = landmark_plane(Landmarks(midline=marks.midline, pairs=pairs))
    assert [f.code for f in found.findings] == ["landmark-set-aside"]
    assert "'p4'" in found.findings[0].message
    assert found.weight["p4"] < 0.1 < found.weight["p3"]
    assert angle_to_x(found) < 0.5


def test_weights_pull():
    base = {"a": (0.0, 0, 0), "b": (0.0, 50, 0), "c": (0.0, 0, 50), "d": (6.0, 50, 50)}
    plain = landmark_plane(Landmarks(midline=base), robust=False)
    light = landmark_plane(Landmarks(midline=base, weights={"d": 1e-6}), robust=False)
    assert angle_to_x(light) < 1e-3 < angle_to_x(plain)


@pytest.mark.parametrize(
    "marks",
    [
        Landmarks(midline={"a": (0.0, 0, 0), "b": (0.0, 9, 0)}),
        Landmarks(midline={"a": (0.0, 0, 0), "b": (0.0, 9, 0), "c": (0.0, 18, 0)}),
        Landmarks(midline={"a": (0.0, 0, 0)}, weights={"a": 0.0}),
    ],
)
def test_too_few_landmarks_are_refused(marks):
    with pytest.raises(GeometryError):
        landmark_plane(marks)


def test_a_loose_plane_is_a_caution():
    row = Landmarks(midline={"a": (0.0, 0, 0), "b": (0.0, 90, 0), "c": (0.0, 45, 3)})
    found = landmark_plane(row)
    assert [f.code for f in found.findings] == ["landmarks-loose"]
    assert found.sd_deg == np.inf


TEXT = """# an invented face
midline  nasion      1.5   85.1  -34.8
midline  chin        1.0   90.0  -99.0   2
left     tragion   -80.6  -29.1  -41.3
right    tragion    84.4  -28.5  -41.3   0.5
"""


def test_text_and_json_files_say_the_same(tmp_path):
    text, data = tmp_path / "marks.txt", tmp_path / "marks.json"
    text.write_text(TEXT, encoding="utf-8")
    marks = read_landmarks(text)
    assert marks.weights == {"chin": 2.0, "tragion": 0.5}
    assert marks.pairs["tragion"][1] == (84.4, -28.5, -41.3)
    data.write_text(json.dumps(marks.as_dict()), encoding="utf-8")
    assert read_landmarks(data) == marks


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "0 landmarks"),
        ("middle nasion 1 2 3", "Line 1"),
        ("midline nasion 1 2", "Line 1"),
        ("midline nasion 1 2 3\nmidline nasion 1 2 3", "repeats"),
        ("midline nasion 1 2 x", "Line 1"),
        ("midline nasion 1 2 inf", "finite"),
        ("left ear 1 2 3", "one side"),
        ("midline a 1 2 3 -1", "negative"),
        ('{"midlin": {}}', "midlin"),
        ('{"midline": {"a": [1, 2]}}', "2 numbers"),
        ('{"pairs": {"a": {"left": [1, 2, 3]}}}', "right"),
        ('{"weights": {"a": 1}, "midline": {"b": [1, 2, 3]}}', "'a'"),
        ('{"midline": ', "not understood"),
        ('{"midline": 3}', "not understood"),
    ],
)
def test_bad_files_are_refused_with_the_place(tmp_path, text, told):
    file = tmp_path / "marks.txt"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(InputFileError, match=told):
        read_landmarks(file)


def test_unreadable_files(tmp_path):
    with pytest.raises(InputFileError, match="cannot be read"):
        read_landmarks(tmp_path / "absent.txt")
    binary = tmp_path / "binary.txt"
    binary.write_bytes(b"\xff\xfe\x00\x81")
    with pytest.raises(InputFileError, match="cannot be read"):
        read_landmarks(binary)


def test_bad_values_are_a_usage_error():
    with pytest.raises(UsageError):
        Landmarks(midline={"a": (0.0, 0.0)})

"""What the landmarks mean, and where they decide."""

import numpy as np
import pytest

from mirrorprep.symmetry.hint import Hint
from mirrorprep.symmetry.landmarks import Landmarks, landmark_plane
from mirrorprep.symmetry.newton import Chart

HINT = Hint(
    normal=np.array([1.0, 0, 0]), offset=0.1, within_deg=10.0, within=0.05, middle=np.array([0.1, 0.0, 0.0])
)


@pytest.mark.parametrize(
    ("degrees", "offset", "sign", "meant"),
    [(0, 0.1, 1, True), (0, 0.1, -1, True), (9, 0.1, 1, True), (11, 0.1, 1, False), (0, 0.16, 1, False)],
)
def test_planes_near_the_landmarks_are_meant(degrees, offset, sign, meant):
    angle = np.radians(degrees)
    normal = sign * np.array([[np.cos(angle), np.sin(angle), 0.0]])
    assert HINT.fits(normal, sign * np.array([offset * np.cos(angle)])).tolist() == [meant]


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_the_step_leads_to_the_landmark_plane(sign):
    normal = sign * np.array([[0.98, 0.15, -0.1]])
    normal /= np.linalg.norm(normal)
    chart = Chart(
        normals=normal,
        offsets=np.array([sign * 0.07]),
        center=np.array([[0.2, -0.1, 0.3]]),
        information=np.eye(3)[None],
    )
    normals, offsets = chart.moved(HINT.step_from(chart))
    np.testing.assert_allclose(sign * normals, [[1, 0, 0]], atol=1e-12)
    np.testing.assert_allclose(sign * offsets, [0.1], atol=1e-12)


def test_only_what_slips_is_taken_from_the_landmarks():
    angle = np.radians(4.0)
    chart = Chart(
        normals=np.array([[np.cos(angle), np.sin(angle), 0.0]]),
        offsets=np.array([0.11]),
        center=np.array([[0.11, 0.0, 0.0]]),
        information=np.eye(3)[None],
    )
    slip = np.array([[0.001, 0.2, 1.0]])
    # Columns are freedoms; the slipping one is the tilt that changes y.
    from mirrorprep.symmetry.newton import tangents

    u, v = tangents(chart.normals)
    first = 0 if abs(u[0, 1]) > abs(v[0, 1]) else 1
    freedoms = np.eye(3)[:, [first, 1 - first, 2]][None]
    held = HINT.pinned(chart, slip, freedoms, below=0.03)
    np.testing.assert_allclose(held.normals, [[1, 0, 0]], atol=1e-9)
    place = held.normals[0] @ chart.center[0] - held.offsets[0]
    before = chart.normals[0] @ chart.center[0] - chart.offsets[0]
    assert place == pytest.approx(before * np.cos(angle), abs=1e-9)
    firm = HINT.pinned(chart, np.ones((1, 3)), freedoms, below=0.03)
    np.testing.assert_allclose(firm.normals, chart.normals, atol=1e-12)


def test_millimetres_become_units_of_the_cloud(blob_cloud):
    marked = landmark_plane(Landmarks(pairs={"a": ((-40.0, 0, 0), (44.0, 0, 0))}))
    hint = Hint.of(marked, blob_cloud)
    place = (np.array([2.0, 7, 9]) - blob_cloud.center_mm) / blob_cloud.scale_mm
    assert hint.normal @ place == pytest.approx(hint.offset)
    assert hint.within_deg == 10.0

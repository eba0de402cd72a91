"""Seating as a whole: the phantom's missing ear, two scans joined by landmarks, and wrong input."""

import numpy as np
import pytest

from demo_shapes.head import face, head_field, lone_ear_field, to_ear_frame
from mirrorprep.errors import GeometryError, NotASolidError, UsageError
from mirrorprep.geometry.rigid_fit import motion, moved
from mirrorprep.geometry.surface_points import surface_points
from mirrorprep.seating.landmark_pairs import LandmarkPairs
from mirrorprep.seating.seat import seat
from mirrorprep.seating.settings import DonorRegion, SeatSettings
from mirrorprep.solid.certify import examine
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.plane import Plane

ACROSS = Plane(normal=[1, 0, 0], offset_mm=0.0)


def cropped(mesh, kept):
    faces = mesh.faces[kept[mesh.faces].all(axis=1)]
    used, numbers = np.unique(faces, return_inverse=True)
    return ScanMesh(vertices=mesh.vertices[used], faces=numbers.reshape(-1, 3))


def test_the_missing_ear_comes_back(seated_ear, head_frame):
    # Outside reference: the formulas of the missing ear. Where the fillet of ear and head ends (5 mm over
    # the skin) they are exact. The small phantom's facets of 1.75 mm miss their own surface by 0.08 mm RMS;
    # at full detail the part misses the true ear by 0.011 mm RMS (tests/benchmarks/seating.py).
    mesh = seated_ear.part.mesh
    local = head_frame(surface_points(mesh.vertices, mesh.faces, count=8000, seed=1)[0])
    proud = face(local) > 5.0
    assert proud.sum() > 3000
    error = lone_ear_field(to_ear_frame(local[proud]))
    assert np.sqrt((error**2).mean()) < 0.1
    np.testing.assert_allclose(error, head_field(local[proud]), atol=0.02)


def test_the_vertices_of_the_ear_lie_on_the_true_ear(seated_ear, head_frame):
    # Vertices lie on the formulas' surface, facets beside it: what remains is the seating alone, across the
    # true plane a few hundredths of a millimetre (the limit asked for is 0.1 mm).
    local = head_frame(seated_ear.part.mesh.vertices)
    proud = face(local) > 5.0
    error = lone_ear_field(to_ear_frame(local[proud]))
    assert np.sqrt((error**2).mean()) < 0.03


def test_the_whole_outside_is_the_healthy_sides_but_for_what_is_made_thicker(seated_ear, head_frame):
    # Outside reference: the formula of the head with its ear and fillet. On purpose differ the margin and
    # floor (below 0.85 mm over the skin) and the membrane that closes the canal (around its mouth).
    mesh = seated_ear.part.mesh
    local = head_frame(surface_points(mesh.vertices, mesh.faces, count=8000, seed=2)[0])
    mouth = np.linalg.norm(to_ear_frame(local) - [-3.0, -2.7, 2.0], axis=1) < 8.0
    same = (face(local) > 0.85) & ~mouth
    assert same.sum() > 4500
    assert np.sqrt((head_field(local[same]) ** 2).mean()) < 0.1


def test_the_back_follows_the_skin(seated_ear, phantom):
    assert seated_ear.back.largest_error_mm < 1e-6
    assert seated_ear.back.area_mm2 > 1000.0
    assert (seated_ear.undercut.largest_mm, seated_ear.undercut.volume_mm3) == (0.0, 0.0)


def test_result_is_certified_and_described(seated_ear):
    assert examine(seated_ear.part.mesh).solid
    data = seated_ear.as_dict()
    assert data["route"] == "plane"
    assert data["volume_mm3"] == pytest.approx(seated_ear.part.mass_properties.volume_mm3, rel=1e-9)
    assert data["moved"]["shift_mm"] < 0.1
    assert data["moved"]["freedoms"] == 3  # skin behind an ear is nearly a ball's: the plane holds the rest
    assert data["deviation"]["healthy"]["within_share"] > 0.98
    assert "hollow-closed" in [finding["code"] for finding in data["findings"]]


def test_donor_part_is_the_mirror_image(seated_ear, phantom):
    image = seated_ear.donor_part
    assert image.volume_mm3 == pytest.approx(seated_ear.part.volume_mm3, rel=1e-9)
    sides = [phantom.true_plane.distance_mm(body.mesh.vertices).mean() for body in (image, seated_ear.part)]
    assert sides[0] * sides[1] < 0.0


def test_inputs_stay_and_results_repeat(bumped):
    before = bumped.mesh.vertices.tobytes()
    first, second = (seat(bumped, bumped, ACROSS) for _ in range(2))
    assert bumped.mesh.vertices.tobytes() == before
    assert first.part.mesh.vertices.tobytes() == second.part.mesh.vertices.tobytes()


def two_scans(bumped):
    """The bump's side, moved away, and the other side; both open; landmarks near the midline on each."""
    x = bumped.mesh.vertices[:, 0]
    away = motion(np.array([0.4, -0.9, 1.7, 50.0, -20.0, 70.0]), np.zeros(3))
    donor, recipient = cropped(bumped.mesh, x > -8.0), cropped(bumped.mesh, x < 8.0)
    donor = donor.with_geometry(moved(donor.vertices, away))
    angles = np.radians([10.0, 100.0, 190.0, 250.0])
    ring = np.column_stack([np.full(4, 4.0), 29.7 * np.cos(angles), 29.7 * np.sin(angles)])
    ring[::2, 0] = -3.0
    marks = LandmarkPairs(
        names=tuple("abcd"), donor_mm=moved(ring, away), recipient_mm=ring * [-1.0, 1.0, 1.0]
    )
    return donor, recipient, marks


def test_two_scans_joined_by_landmarks(bumped):
    donor, recipient, marks = two_scans(bumped)
    result = seat(donor, recipient, marks, body=bumped)
    assert result.landmarks.rms_mm < 1e-9
    assert result.as_dict()["route"] == "landmarks"
    assert result.part.bounds_mm[0, 0] == pytest.approx(-34.0, abs=0.1)
    assert np.abs(result.part.bounds_mm.mean(axis=0)[1:]).max() < 0.3


def test_open_recipient_needs_a_body(bumped):
    donor, recipient, marks = two_scans(bumped)
    with pytest.raises(NotASolidError, match="not closed"):
        seat(donor, recipient, marks)


def test_exchanged_landmarks_are_refused(bumped):
    donor, recipient, marks = two_scans(bumped)
    swapped = LandmarkPairs(
        names=marks.names, donor_mm=marks.donor_mm, recipient_mm=marks.recipient_mm * [-1.0, 1.0, 1.0]
    )
    with pytest.raises(GeometryError, match="exchanged"):
        seat(donor, recipient, swapped, body=bumped)


def test_recipient_missing_under_the_part(bumped):
    gone = cropped(bumped.mesh, bumped.mesh.vertices[:, 0] > -20.0)
    with pytest.raises(GeometryError, match="recipient scan is missing"):
        seat(bumped, gone, ACROSS, body=bumped, settings=sphere_region())


def sphere_region(**options):
    return SeatSettings(region=DonorRegion(kind="sphere", numbers=(30.0, 0.0, 0.0, 9.0)), **options)


def test_neither_plane_nor_landmarks(bumped):
    with pytest.raises(UsageError, match="'by' is str"):
        seat(bumped, bumped, "mirror")


def test_a_moved_plane_is_reported(bumped):
    result = seat(
        bumped, bumped, Plane(normal=[1, 0, 0], offset_mm=0.4), settings=sphere_region(most_shift_mm=0.2)
    )
    stop = [finding for finding in result.findings if finding.code == "seat-moved-far"]
    assert [str(finding.severity) for finding in stop] == ["stop"]
    assert result.ring.shift_mm == pytest.approx(0.8, abs=0.05)


def test_gap_for_adhesive(bumped):
    result = seat(bumped, bumped, ACROSS, settings=sphere_region(gap_mm=0.3))
    assert result.back.gap_mm == 0.3
    assert result.back.largest_error_mm < 0.01
    assert (bumped & result.part).volume_mm3 < 1e-6

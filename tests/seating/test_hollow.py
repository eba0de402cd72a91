"""Hollows that dip below the skin are closed, at least the floor thick; what need not be closed stays."""

import numpy as np
import pytest

from mirrorprep.seating.seat import seat
from mirrorprep.seating.settings import DonorRegion, SeatSettings
from mirrorprep.solid.plane import Plane
from mirrorprep.solid.primitives import frustum

ACROSS = Plane(normal=[1, 0, 0], offset_mm=0.0)
REGION = DonorRegion(kind="sphere", numbers=(30.0, 0.0, 0.0, 11.0))


@pytest.fixture(scope="module")
def drilled(bumped):
    """The bump with a blind hole of 2 mm radius through it and 6 mm into the ball."""
    return bumped - frustum([24.0, 0, 0], [40.0, 0, 0], start_radius_mm=2.0, stop_radius_mm=2.0)


def thickness_at_the_hole(part):
    seen = part.mesh.vertices
    beside = np.linalg.norm(seen[:, 1:], axis=1) < 1.5
    return np.ptp(seen[beside, 0]) if beside.any() else 0.0


def test_a_hole_becomes_a_dimple(drilled, bumped):
    result = seat(drilled, bumped, ACROSS, settings=SeatSettings(region=REGION))
    closed = [finding for finding in result.findings if finding.code == "hollow-closed"]
    assert len(closed) == 1
    assert closed[0].measured == pytest.approx(6.0, abs=0.3)
    assert np.linalg.norm(np.array(closed[0].where[0])[1:]) < 0.5
    assert 0.8 - 1e-6 <= thickness_at_the_hole(result.part) < 4.2
    # a closed part without handles: Euler characteristic 2
    mesh = result.part.mesh
    assert len(mesh.vertices) - len(mesh.faces) // 2 == 2


def test_it_stays_open_when_told(drilled, bumped):
    told = SeatSettings(region=REGION, close_hollows=False)
    result = seat(drilled, bumped, ACROSS, settings=told)
    assert thickness_at_the_hole(result.part) == 0.0
    mesh = result.part.mesh
    assert len(mesh.vertices) - len(mesh.faces) // 2 == 0  # one handle
    assert "hollow-closed" not in [finding.code for finding in result.findings]


def test_without_a_hollow_nothing_changes(bumped):
    results = [
        seat(bumped, bumped, ACROSS, settings=SeatSettings(region=REGION, close_hollows=close))
        for close in (True, False)
    ]
    assert results[0].part.mesh.vertices.tobytes() == results[1].part.mesh.vertices.tobytes()


def test_two_hollows_are_told_in_one_finding_with_their_places(bumped):
    holes = [
        frustum([24.0, y, 0], [40.0, y, 0], start_radius_mm=0.8, stop_radius_mm=0.8) for y in (-3.2, 3.2)
    ]
    result = seat(bumped - holes[0] - holes[1], bumped, ACROSS, settings=SeatSettings(region=REGION))
    (found,) = [finding for finding in result.findings if finding.code == "hollow-closed"]
    assert "2 places" in found.message
    np.testing.assert_allclose(sorted(y for _, y, _ in found.where), [-3.2, 3.2], atol=0.5)

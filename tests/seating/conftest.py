"""Shapes for the tests of seating: a ball with a bump on one side, and the phantom head."""

import numpy as np
import pytest

import demo_shapes
from mirrorprep.seating.seat import seat
from mirrorprep.seating.settings import SeatSettings
from mirrorprep.solid.plane import Plane
from mirrorprep.solid.primitives import sphere

ACROSS = Plane(normal=[1, 0, 0], offset_mm=0.0)


@pytest.fixture(scope="session")
def bumped():
    """A ball of 30 mm with a bump that stands 4 mm out on the +x side."""
    bump = sphere(6.0, center_mm=[28.0, 0.0, 0.0], segments=72)
    return sphere(30.0, segments=220) + bump


@pytest.fixture(scope="session")
def phantom():
    return demo_shapes.phantom_head("small")


@pytest.fixture(scope="session")
def seated_ear(phantom):
    """The phantom's missing ear, seated across its true plane."""
    settings = SeatSettings(tolerance_mm=0.5, accuracy_mm=0.1)
    return seat(phantom.scan, phantom.scan, phantom.true_plane, settings=settings)


@pytest.fixture(scope="session")
def head_frame(phantom):
    """Maps points of the scan to the mirrored head frame, where the formulas of the right ear hold."""
    inverse = np.linalg.inv(phantom.pose)

    def local(points):
        return (points @ inverse[:3, :3].T + inverse[:3, 3]) * [-1.0, 1.0, 1.0]

    return local

"""Pictures of a seated part."""

import io

import numpy as np
import pytest
from matplotlib.image import imread

from mirrorprep.handover import seating_pictures
from mirrorprep.handover.seating_pictures import _near, picture_fit, picture_seated
from mirrorprep.solid.plane import Plane
from mirrorprep.solid.primitives import box, sphere

BALL = sphere(30.0, segments=60)
PART = sphere(8.0, center_mm=[-29.0, 0, 0], segments=40) - BALL
PLANE = Plane(normal=[1, 0, 0], offset_mm=0.0)


@pytest.fixture
def small(drawing, monkeypatch):
    monkeypatch.setattr(seating_pictures, "PANEL", (200, 240))
    monkeypatch.setattr(seating_pictures, "MAP_PANEL", (240, 240))


def test_four_sides_twice_the_same(small):
    rim = np.array([[-29.0, 7.0, 0], [-29, 0, 7], [-29, -7, 0], [-29, 0, -7]])
    pictures = [picture_seated(PART, BALL, [-1, 0, 0], loop_mm=rim, plane=PLANE) for _ in range(2)]
    assert pictures[0] == pictures[1]
    image = imread(io.BytesIO(pictures[0]))
    assert image.shape[1] >= 4 * 200


def test_the_map_has_its_range(small):
    values = np.where(BALL.mesh.vertices[:, 0] < -10.0, BALL.mesh.vertices[:, 1] / 30.0, np.nan)
    stated = picture_fit(BALL, values, [-1, 0, 0], tolerance_mm=0.5)
    assert stated[:4] == b"\x89PNG"
    assert stated != picture_fit(BALL, values, [-1, 0, 0])


def test_only_skin_around_the_part_is_drawn():
    near = _near(BALL.mesh, PART.mesh)
    assert 0 < len(near.faces) < len(BALL.mesh.faces)
    assert len(near.vertices) == len(np.unique(near.faces))
    far = box([2, 2, 2], center_mm=[500, 0, 0]).mesh
    assert _near(BALL.mesh, far) is BALL.mesh

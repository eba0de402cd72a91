"""The picture of the walls."""

import io

import numpy as np
import pytest
from matplotlib.image import imread

from mirrorprep.handover import wall_pictures
from mirrorprep.handover.wall_pictures import WALLS, _broad_side, picture_walls
from mirrorprep.measurement.wall_thickness import wall_thickness
from mirrorprep.solid.primitives import box, sphere


@pytest.fixture
def small(drawing, monkeypatch):
    monkeypatch.setattr(wall_pictures, "PANEL", (260, 260))


def test_thin_is_darker_and_the_thinnest_place_is_marked(small):
    shell = sphere(10, segments=60) - sphere(8.5, center_mm=[0.7, 0, 0], segments=60)
    walls = wall_thickness(shell, count=4000)
    thickness = walls.over(shell)
    plain = picture_walls(shell, thickness, toward=[1, 0, 0], least_mm=0.5)
    marked = picture_walls(shell, thickness, toward=[1, 0, 0], least_mm=0.5, thinnest_mm=walls.thinnest_at_mm)
    assert marked != plain
    assert marked == picture_walls(
        shell, thickness, toward=[1, 0, 0], least_mm=0.5, thinnest_mm=walls.thinnest_at_mm
    )
    image = imread(io.BytesIO(plain))
    assert image.shape[1] >= 2 * 260
    # the hollow lies toward the first eye: the wall is 0.8 mm in front and 2.2 mm behind
    height = 260 // 2 + 40
    front, back = (image[height, int(image.shape[1] * place), :3].sum() for place in (0.25, 0.75))
    assert front < back
    assert WALLS.colors([0.0], 0.0, 3.0).sum() < WALLS.colors([3.0], 0.0, 3.0).sum()


def test_a_part_is_shown_from_its_broad_side(small):
    assert abs(_broad_side(box([30, 2, 40]).mesh) @ np.array([0.0, 1.0, 0.0])) > 0.999
    assert picture_walls(box([30, 2, 40]), np.full(8, np.nan))[:4] == b"\x89PNG"

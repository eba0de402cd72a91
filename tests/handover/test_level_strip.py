"""The strip of levels."""

import io

import matplotlib.image
import numpy as np
import pytest

from mirrorprep.geometry.air_pockets import trapped_air
from mirrorprep.handover.level_strip import picture_level_strip
from mirrorprep.handover.palette import STOP, rgb
from mirrorprep.solid.primitives import box


@pytest.fixture(scope="module")
def stool():
    plate, tall = box([40, 20, 5]), box([6, 6, 30], center_mm=[-12, 0, 15])
    return (plate + tall + box([6, 6, 20], center_mm=[12, 0, 10])).mesh


def red_pixels(picture):
    image = matplotlib.image.imread(io.BytesIO(picture))[..., :3]
    return int((np.abs(image - rgb(STOP)).max(axis=2) < 0.06).sum())


def test_trapped_air_is_drawn_where_there_is_some(stool):
    stands = trapped_air(stool.vertices, stool.faces, up=(0, 0, 1))
    hangs = trapped_air(stool.vertices, stool.faces, up=(0, 0, -1))
    with_air, without = picture_level_strip(stands), picture_level_strip(hangs)
    assert with_air[:4] == without[:4] == b"\x89PNG"
    assert red_pixels(with_air) > red_pixels(without) + 500


def test_same_strip_same_bytes(stool):
    air = trapped_air(stool.vertices, stool.faces, up=(0, 0, 1))
    assert picture_level_strip(air, fractions=(0.5, 1.0)) == picture_level_strip(air, fractions=(0.5, 1.0))

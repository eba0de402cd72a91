"""Pictures of the level: lengths along the line of sight."""

import numpy as np
import pytest

from mirrorprep.errors import UsageError
from mirrorprep.geometry.air_pockets import level_states, trapped_air
from mirrorprep.geometry.level_view import level_view
from mirrorprep.solid.primitives import box


@pytest.fixture(scope="module")
def stool():
    plate, tall = box([40, 20, 5]), box([6, 6, 30], center_mm=[-12, 0, 15])
    return (plate + tall + box([6, 6, 20], center_mm=[12, 0, 10])).mesh


def test_the_images_add_up_to_the_volumes(stool):
    air = trapped_air(stool.vertices, stool.faces, up=(0, 0, 1))
    for state in level_states(air):
        view = level_view(air, state.level_mm, along=(0.3, 1, 0))
        pixel = view.pixel_mm**2
        assert view.liquid_mm.sum() * pixel == pytest.approx(state.liquid_mm3, rel=1e-6)
        assert view.open_air_mm.sum() * pixel == pytest.approx(state.open_air_mm3, rel=1e-6, abs=1e-3)
        assert view.sealed_air_mm.sum() * pixel == pytest.approx(state.sealed_air_mm3, rel=1e-6, abs=1e-3)
        assert min(view.liquid_mm.min(), view.open_air_mm.min(), view.sealed_air_mm.min()) > -1e-9


def test_lengths_and_places_are_right(stool):
    air = trapped_air(stool.vertices, stool.faces, up=(0, 0, 1))
    view = level_view(air, 100.0, along=(0, 1, 0), pixels=64)
    assert abs(view.right[0]) == pytest.approx(1.0)
    row = int((10.0 - view.bottom_mm) / view.pixel_mm)
    short, tall = (int((x * view.right[0] - view.left_mm) / view.pixel_mm) for x in (12.0, -12.0))
    assert view.sealed_air_mm[row, short] == pytest.approx(6.0, rel=0.15)
    assert view.liquid_mm[row, short] == pytest.approx(0.0, abs=1e-9)
    assert view.liquid_mm[row, tall] == pytest.approx(6.0, rel=0.15)


def test_the_widest_view_is_the_default(stool):
    air = trapped_air(stool.vertices, stool.faces, up=(0, 0, 1))
    assert abs(level_view(air, 0.0).right[0]) > 0.99


def test_an_upright_line_of_sight_is_refused(stool):
    air = trapped_air(stool.vertices, stool.faces, up=(0, 0, 1))
    with pytest.raises(UsageError, match="upright"):
        level_view(air, 0.0, along=(0, 0, 2))


def test_nothing_is_wet_before_pouring(stool):
    air = trapped_air(stool.vertices, stool.faces, up=(0, 0, 1))
    view = level_view(air, -50.0)
    assert np.allclose(view.liquid_mm, 0.0)
    assert np.allclose(view.sealed_air_mm, 0.0)

"""The margin: its thickness over the skin as stated, and the donor's own surface where it ends."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mirrorprep.geometry.geodesic import distance_along, travel_graph
from mirrorprep.geometry.signed_distance import DistanceField
from mirrorprep.seating.donor import select_donor
from mirrorprep.seating.margin import margin_height, smooth_step, thinned_sheet
from mirrorprep.seating.settings import DonorRegion, SeatSettings
from mirrorprep.solid.primitives import sphere


@given(st.floats(-20, 20), st.floats(0, 30), st.floats(0.0, 0.5))
@settings(deadline=None, max_examples=60, derandomize=True)
def test_height_is_never_less_than_edge_or_floor(height, within, gap):
    told = SeatSettings(edge_mm=0.4, floor_mm=1.2, edge_width_mm=5.0, gap_mm=gap)
    result = float(margin_height(np.array([height]), np.array([within]), told)[0])
    assert result >= gap + 0.4 - 1e-12
    if within >= 5.0:
        assert result >= gap + 1.2 - 1e-12
        assert result == pytest.approx(max(height, gap + 1.2), abs=0.15 / 4 + 1e-9)


def test_height_rises_with_the_distance_from_the_rim():
    within = np.linspace(0.0, 6.0, 200)
    height = margin_height(np.full(200, 3.0), within, SeatSettings())
    assert height[0] == 0.5
    assert height[-1] == 3.0
    assert (np.diff(height) >= 0.0).all()
    assert smooth_step(np.array([0.25]))[0] == pytest.approx(0.15625)  # 3t² − 2t³


def sheet_over_ball(radius, told):
    """A cap of a ball of another radius, laid over a ball of 30 mm."""
    skin = sphere(30.0, segments=120).mesh
    donor = select_donor(
        sphere(radius, segments=150).mesh, DonorRegion(kind="plane", numbers=(0, 0, 1, 24.0))
    )
    field = DistanceField(skin.vertices, skin.faces)
    return thinned_sheet(donor.cut.vertices, donor.cut.faces, donor.loop, skin=field, settings=told), field


def test_rim_has_the_edge_thickness_and_the_middle_is_untouched():
    told = SeatSettings(edge_mm=0.4, edge_width_mm=5.0, floor_mm=0.6, gap_mm=0.1)
    sheet, field = sheet_over_ball(32.0, told)
    height = field.at(sheet.vertices).distance_mm
    np.testing.assert_allclose(height[sheet.loop], 0.5, atol=0.02)
    middle = sheet.within_mm > 6.0
    np.testing.assert_allclose(np.linalg.norm(sheet.vertices[middle], axis=1), 32.0, atol=1e-9)
    np.testing.assert_allclose(sheet.height_mm[middle], 2.0, atol=0.05)


def test_sunken_skin_is_lifted_to_the_floor():
    told = SeatSettings(edge_mm=0.3, edge_width_mm=3.0, floor_mm=0.7)
    sheet, field = sheet_over_ball(29.4, told)
    height = field.at(sheet.vertices).distance_mm
    np.testing.assert_allclose(height[sheet.within_mm > 4.0], 0.7, atol=0.05)
    assert sheet.lifted_mm[sheet.loop] == pytest.approx(0.3)


def test_distance_from_the_rim_is_that_along_the_sheet():
    sheet, _ = sheet_over_ball(32.0, SeatSettings())
    far = distance_along(travel_graph(sheet.vertices, sheet.faces), sheet.loop)
    pole = int(sheet.vertices[:, 2].argmax())
    # arc from the rim at height 24 of a ball of 32 mm to its pole
    assert sheet.within_mm[pole] == pytest.approx(32.0 * np.arccos(24.0 / 32.0), rel=0.06)
    assert np.isfinite(far).all()

"""What the job is told of the fit: each check is fed its fault."""

from dataclasses import replace

import numpy as np
import pytest

from mirrorprep.geometry.signed_distance import DistanceField
from mirrorprep.seating.fit_report import back_on_skin, fit_findings
from mirrorprep.seating.margin import Sheet
from mirrorprep.seating.registration import RingFit
from mirrorprep.seating.settings import SeatSettings
from mirrorprep.seating.undercut import SeatUndercut
from mirrorprep.solid.primitives import box

GROUND = box([60, 60, 10], center_mm=[0, 0, -5])
SKIN = DistanceField(GROUND.mesh.vertices, GROUND.mesh.faces)
TOLD = SeatSettings()
RING = RingFit(
    matrix=np.eye(4), shift_mm=0.1, turn_deg=0.1, freedoms=6, rms_mm=0.01, rms_before_mm=0.1, share=0.9
)
FREE = SeatUndercut(
    direction=np.array([0.0, 0, 1]), depth_mm=np.zeros(8), volume_mm3=0.0, largest_mm=0.0, where_mm=None
)


def sheet(height):
    count = len(height)
    return Sheet(
        vertices=np.zeros((count, 3)),
        faces=np.zeros((0, 3), dtype=np.int64),
        loop=np.arange(count),
        skin_mm=np.arange(3.0 * count).reshape(count, 3),
        skin_normals=np.tile([0.0, 0, 1], (count, 1)),
        height_mm=np.array(height),
        lifted_mm=np.zeros(count),
        within_mm=np.zeros(count),
    )


def back(lifted_mm=0.0):
    part = box([20, 20, 6], center_mm=[0, 0, 3.0 + lifted_mm])
    return back_on_skin(part, SKIN, TOLD)


def codes(ring=RING, rim=(0.1, 0.2), lying=None, caught=FREE):
    return [(f.code, str(f.severity)) for f in fit_findings(ring, sheet(rim), lying or back(), caught, TOLD)]


def test_a_sound_fit_is_silent():
    assert codes() == []


def test_a_back_off_the_skin_is_measured_and_told():
    lying = back(0.12)
    assert lying.largest_error_mm == pytest.approx(0.12)
    assert lying.deviation.mean_mm == pytest.approx(0.12)
    assert lying.area_mm2 == pytest.approx(400.0)
    assert lying.direction.tolist() == pytest.approx([0.0, 0.0, 1.0])
    assert codes(lying=lying) == [("back-off-skin", "caution")]
    assert codes(lying=back(0.04)) == []


@pytest.mark.parametrize("far", [{"shift_mm": 3.1}, {"turn_deg": 3.1}])
def test_a_far_movement_stops_the_job(far):
    assert codes(ring=replace(RING, **far)) == [("seat-moved-far", "stop")]


def test_a_ring_that_hardly_matches():
    assert codes(ring=replace(RING, share=0.4)) == [("margin-little-matched", "caution")]


@pytest.mark.parametrize("height", [3.2, -3.2])
def test_a_steep_margin_is_placed(height):
    found = fit_findings(RING, sheet((0.0, height, 1.0)), back(), FREE, TOLD)
    assert [finding.code for finding in found] == ["margin-steep"]
    assert found[0].where == ((3.0, 4.0, 5.0),)
    assert found[0].measured == pytest.approx(3.2)


def test_an_undercut_is_placed():
    caught = replace(FREE, volume_mm3=9.0, largest_mm=1.5, where_mm=np.array([1.0, 2.0, 3.0]))
    found = fit_findings(RING, sheet((0.0,)), back(), caught, TOLD)
    assert [(finding.code, finding.where) for finding in found] == [("seat-undercut", ((1.0, 2.0, 3.0),))]

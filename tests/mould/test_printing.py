import numpy as np
import pytest

from mirrorprep.mould.build import build_mould
from mirrorprep.mould.printing import print_pose, print_report
from mirrorprep.mould.settings import MouldSettings
from mirrorprep.solid.primitives import box, frustum, sphere

BED = (100.0, 80.0, 60.0)


def test_pose_turns_about_upright_only_when_that_fits():
    tall = box([70, 95, 10], center_mm=[500, 600, 700])
    pose = print_pose(tall, np.eye(3), BED)
    laid = tall.transformed(pose)
    assert laid.bounds_mm.ravel() == pytest.approx([0, 0, 0, 95, 70, 10])
    assert np.linalg.det(pose) == pytest.approx(1.0)
    assert pose[2, 2] == 1.0
    square = box([50, 50, 10])
    assert print_pose(square, np.eye(3), BED)[:3, :3].tolist() == np.eye(3).tolist()


def test_overhang_of_cones():
    # A cone that widens upward at 45° hangs over by just the limit; at 60° all of its side does.
    steep = frustum([0, 0, 0], [0, 0, 10], start_radius_mm=5, stop_radius_mm=14.9, segments=200)
    assert print_report(steep.mesh, np.eye(4), BED).overhang_mm2 == 0.0
    flat = frustum([0, 0, 0], [0, 0, 10], start_radius_mm=5, stop_radius_mm=5 + 10 * 3**0.5, segments=200)
    report = print_report(flat.mesh, np.eye(4), BED)
    side = np.pi * (10 + 10 * 3**0.5) * 20.0  # lateral area π (R₁ + R₂) s
    assert report.overhang_mm2 == pytest.approx(side, rel=1e-3)
    assert report.bed_contact_mm2 == pytest.approx(np.pi * 25, rel=1e-3)
    assert report.size_mm[2] == pytest.approx(10.0)
    assert 0.0 < report.overhang_share < 1.0


def test_halves_of_a_block_lie_flat_and_hang_over_nowhere_much():
    settings = MouldSettings(body="block", pull_direction=(0, 0, 1), bolts="none", feet=False)
    mould = build_mould(sphere(18.0), settings=settings)
    for half in mould.halves:
        assert half.printing.fits_bed
        assert half.pieces == ()
        high = half.solid.transformed(half.print_pose).bounds_mm[1]
        assert half.printing.bed_contact_mm2 == pytest.approx(high[0] * high[1], rel=0.05)
        assert half.printing.overhang_share < 0.02

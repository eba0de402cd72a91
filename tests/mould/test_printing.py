import numpy as np
import pytest

from mirrorprep.errors import NoPartingError
from mirrorprep.mould.build import build_mould
from mirrorprep.mould.printing import pieces_for_bed, print_pose, print_report
from mirrorprep.mould.settings import MouldSettings
from mirrorprep.solid.primitives import box, frustum, sphere
from mirrorprep.solid.solid import union

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


def test_half_that_fits_is_not_divided():
    assert pieces_for_bed("half_a", box([50, 50, 20]), np.eye(4), MouldSettings()) == ()


def test_large_half_is_divided_with_keys_that_fit():
    settings = MouldSettings(bed_mm=(90.0, 90.0, 60.0))
    body = box([160, 80, 40], center_mm=[80, 40, 20]) - sphere(25.0, center_mm=[80, 40, 40])
    pieces = pieces_for_bed("half_b", body, np.eye(4), settings)
    assert [piece.name for piece in pieces] == ["half_b_1", "half_b_2"]
    lower, upper = (piece.solid for piece in pieces)
    assert (lower & upper).volume_mm3 < 1e-9
    together = lower.volume_mm3 + upper.volume_mm3
    gap = body.volume_mm3 - union([lower, upper]).volume_mm3
    assert together + gap == pytest.approx(body.volume_mm3, rel=1e-12)
    assert 0.0 < gap < 0.01 * body.volume_mm3
    keys = lower & box([20, 200, 200], center_mm=[90.001, 0, 0])
    assert len(keys.fragments()) >= 2
    for piece in pieces:
        report = print_report(piece.solid.mesh, piece.print_pose, settings.bed_mm)
        assert report.fits_bed
    moved = upper.translated([0.01, 0, 0])
    assert (moved & lower).volume_mm3 < 1e-9


def test_half_too_high_for_the_printer_is_refused():
    with pytest.raises(NoPartingError, match="stands 70 mm high"):
        pieces_for_bed(
            "half_a", box([50, 50, 70], center_mm=[25, 25, 35]), np.eye(4), MouldSettings(bed_mm=BED)
        )


def test_bed_too_small_for_keys_is_refused():
    settings = MouldSettings(bed_mm=(8.0, 8.0, 60.0))
    with pytest.raises(NoPartingError, match="too small for pieces"):
        pieces_for_bed("half_a", box([50, 50, 20], center_mm=[25, 25, 10]), np.eye(4), settings)


def test_division_is_reported():
    settings = MouldSettings(body="block", pull_direction=(0, 0, 1), bed_mm=(60.0, 60.0, 60.0))
    mould = build_mould(sphere(18.0), settings=settings)
    assert "half-divided" in {finding.code for finding in mould.findings}
    assert len(mould.halves[0].pieces) >= 2

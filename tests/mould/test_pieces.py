from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial import cKDTree

from mirrorprep.errors import NoPartingError
from mirrorprep.mould.build import build_mould
from mirrorprep.mould.pieces import Division, divide_for_bed, division_findings, prove_pieces
from mirrorprep.mould.printing import print_report
from mirrorprep.mould.settings import MouldSettings
from mirrorprep.solid.certify import certify
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.primitives import box, sphere
from mirrorprep.solid.solid import union

BED = (100.0, 80.0, 60.0)


def test_half_that_fits_is_not_divided():
    assert divide_for_bed("half_a", box([50, 50, 20]), np.eye(4), MouldSettings()).pieces == ()


def test_large_half_is_divided_with_keys_that_fit():
    settings = MouldSettings(bed_mm=(90.0, 90.0, 60.0))
    body = box([160, 80, 40], center_mm=[80, 40, 20]) - sphere(25.0, center_mm=[80, 40, 40])
    division = divide_for_bed("half_b", body, np.eye(4), settings)
    pieces = division.pieces
    assert [piece.name for piece in pieces] == ["half_b_1", "half_b_2"]
    lower, upper = (piece.solid for piece in pieces)
    assert (lower & upper).volume_mm3 < 1e-9
    together = lower.volume_mm3 + upper.volume_mm3
    gap = body.volume_mm3 - union([lower, upper]).volume_mm3
    assert together + gap == pytest.approx(body.volume_mm3, rel=1e-12)
    assert 0.0 < gap < 0.01 * body.volume_mm3
    assert division.gaps_mm3 == pytest.approx(gap, rel=1e-9)
    assert (division.cuts, division.keyless_cuts) == (1, 0)
    proof = prove_pieces(body, pieces, gaps_mm3=division.gaps_mm3, bed_mm=settings.bed_mm)
    assert proof.findings == ()
    assert proof.identity_error < 1e-12
    keys = lower & box([20, 200, 200], center_mm=[90.001, 0, 0])
    assert len(keys.fragments()) >= 2
    for piece in pieces:
        report = print_report(piece.solid.mesh, piece.print_pose, settings.bed_mm)
        assert report.fits_bed
    moved = upper.translated([0.01, 0, 0])
    assert (moved & lower).volume_mm3 < 1e-9


def test_half_too_high_for_the_printer_is_refused():
    with pytest.raises(NoPartingError, match="stands 70 mm high"):
        divide_for_bed(
            "half_a", box([50, 50, 70], center_mm=[25, 25, 35]), np.eye(4), MouldSettings(bed_mm=BED)
        )


def test_bed_too_small_for_keys_is_refused():
    settings = MouldSettings(bed_mm=(8.0, 8.0, 60.0))
    with pytest.raises(NoPartingError, match="too small for pieces"):
        divide_for_bed("half_a", box([50, 50, 20], center_mm=[25, 25, 10]), np.eye(4), settings)


def test_division_is_reported():
    settings = MouldSettings(body="block", pull_direction=(0, 0, 1), bed_mm=(60.0, 60.0, 60.0))
    mould = build_mould(sphere(18.0), settings=settings)
    assert "half-divided" in {finding.code for finding in mould.findings}
    assert len(mould.halves[0].pieces) >= 2
    assert not [finding for finding in mould.findings if finding.code.startswith("piece")]
    for half in mould.halves:
        told = half.as_dict()["pieces_printing"]
        assert len(told) == len(half.pieces)
        assert all(printed["fits_bed"] and printed["bed_contact_mm2"] > 100.0 for printed in told)
        assert half.pieces_proof.findings == ()
        assert half.pieces_proof.identity_error < 1e-12
        kept = cKDTree(np.vstack([piece.solid.mesh.vertices for piece in half.pieces]))
        cavity = cKDTree(mould.cavity.mesh.vertices)
        own = half.solid.mesh.vertices[cavity.query(half.solid.mesh.vertices)[0] < 1e-9]
        assert len(own) > 100
        assert kept.query(own)[0].max() < 1e-6


@pytest.fixture(scope="module")
def divided():
    settings = MouldSettings(bed_mm=(90.0, 90.0, 60.0))
    body = box([160, 80, 40], center_mm=[80, 40, 20])
    return body, divide_for_bed("half_b", body, np.eye(4), settings), settings


@pytest.mark.parametrize(
    ("fault", "codes"),
    [
        (
            lambda piece: replace(piece, solid=piece.solid.translated([-1.0, 0, 0])),
            {"pieces-overlap", "piece-off-bed"},
        ),
        (
            lambda piece: replace(piece, solid=piece.solid - box([9, 9, 9], center_mm=[130, 40, 20])),
            {"pieces-identity"},
        ),
        (lambda piece: replace(piece, print_pose=np.diag([-1.0, -1.0, 1.0, 1.0])), {"piece-off-bed"}),
        (
            lambda piece: replace(piece, solid=pinched(piece.solid)),
            {"piece-not-solid", "piece-off-bed", "pieces-identity"},
        ),
    ],
)
def test_every_fault_of_a_piece_is_found(divided, fault, codes):
    body, division, settings = divided
    first, last = division.pieces
    proof = prove_pieces(
        body, [first, fault(last)], gaps_mm3=division.gaps_mm3, bed_mm=settings.bed_mm, limit=1e-9
    )
    assert {finding.code for finding in proof.findings} == codes
    assert proof.half == "half_b"
    assert proof.as_dict()["pieces"] == ("half_b_1", "half_b_2")


def pinched(solid):
    """The solid with two cubes beside it that share an edge: closed by index, pinched by position."""
    cubes = [box([2, 2, 2], center_mm=[201 + a, 201 + a, 1]).mesh for a in (0.0, 2.0)]
    meshes = [solid.mesh, *cubes]
    starts = np.cumsum([0, *(len(mesh.vertices) for mesh in meshes)])
    faces = [mesh.faces + start for mesh, start in zip(meshes, starts, strict=False)]
    return certify(ScanMesh(vertices=np.vstack([mesh.vertices for mesh in meshes]), faces=np.vstack(faces)))


def test_pieces_in_fragments_get_their_own_names():
    # A horseshoe cut across its legs: the legs are pieces of their own.
    body = box([160, 80, 20], center_mm=[80, 40, 10]) - box([120, 40, 40], center_mm=[100, 40, 10])
    division = divide_for_bed("half_a", body, np.eye(4), MouldSettings(bed_mm=(95.0, 90.0, 60.0)))
    assert [piece.name for piece in division.pieces] == ["half_a_1", "half_a_2", "half_a_3"]
    total = sum(piece.solid.volume_mm3 for piece in division.pieces) + division.gaps_mm3
    assert total == pytest.approx(body.volume_mm3, rel=1e-12)


def test_too_many_pieces_are_refused():
    with pytest.raises(NoPartingError, match="would take 25 pieces"):
        divide_for_bed(
            "half_a",
            box([200, 200, 20], center_mm=[100, 100, 10]),
            np.eye(4),
            MouldSettings(bed_mm=(52,) * 3),
        )


def test_cuts_without_room_for_keys_are_reported():
    thin = box([160, 80, 3], center_mm=[80, 40, 1.5])
    settings = MouldSettings(bed_mm=(90.0, 90.0, 60.0))
    division = divide_for_bed("half_a", thin, np.eye(4), settings)
    codes = [finding.code for finding in division_findings("half_a", division, settings)]
    assert codes == ["half-divided", "pieces-without-keys"]
    assert division_findings("half_a", Division(), settings) == []

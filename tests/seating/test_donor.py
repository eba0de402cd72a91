"""Donor regions of every kind against closed forms, and regions that cannot be cut."""

import numpy as np
import pytest

from mirrorprep.errors import GeometryError, UsageError
from mirrorprep.geometry.borders import border_loops
from mirrorprep.geometry.normals import doubled_areas
from mirrorprep.geometry.topology import edge_table
from mirrorprep.seating.donor import select_donor
from mirrorprep.seating.settings import DonorRegion
from mirrorprep.seating.standing_out import Standoff
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.primitives import sphere

BALL = sphere(20.0, segments=160).mesh


def area(cut):
    return np.linalg.norm(doubled_areas(cut.vertices, cut.faces), axis=1).sum() / 2.0


def standing(height):
    return Standoff(scanned_mm=height, closed_mm=height)


def cap_mm2(height):
    return 2.0 * np.pi * 20.0 * height


@pytest.mark.parametrize(
    ("region", "exact"),
    [
        (DonorRegion(kind="plane", numbers=(0, 0, 2, 24)), cap_mm2(8.0)),
        # A sphere of radius r about a point of the ball cuts a cap of the area of a disc of radius r.
        (DonorRegion(kind="sphere", numbers=(20, 0, 0, 9)), np.pi * 81.0),
        (DonorRegion(kind="box", numbers=(-30, -30, 15, 30, 30, 40)), cap_mm2(5.0)),
    ],
)
def test_shapes_cut_caps(region, exact):
    donor = select_donor(BALL, region)
    assert area(donor.cut) == pytest.approx(exact, rel=5e-3)
    assert len(border_loops(donor.cut.faces, edge_table(donor.cut.faces))) == 1
    assert set(donor.loop.tolist()) <= set(range(len(donor.cut.vertices)))


def test_loop_cuts_along_its_path():
    # Points on a circle of latitude, close enough that great circles between them stay beside it.
    angles = np.linspace(0.0, 2.0 * np.pi, 25)
    ring = np.column_stack([16.0 * np.cos(angles), 16.0 * np.sin(angles), np.full(25, 12.0)])
    ring[-1] = ring[0]
    donor = select_donor(BALL, DonorRegion(kind="loop", loop_mm=ring))
    assert area(donor.cut) == pytest.approx(cap_mm2(8.0), rel=0.02)
    assert np.abs(donor.cut.vertices[donor.loop, 2] - 12.0).max() < 0.35


def test_what_stands_out_is_taken_and_grown():
    # A lump of known place: standoff as a smooth hill around the pole, taken to where it passes 0.5 mm.
    angle = np.arccos(np.clip(BALL.vertices[:, 2] / 20.0, -1, 1))
    hill = 6.0 * np.exp(-((20.0 * angle / 5.0) ** 2))
    edge = 5.0 * np.sqrt(np.log(12.0))
    donor = select_donor(BALL, DonorRegion(), standoff=standing(hill), grow_mm=3.0)
    exact = cap_mm2(20.0 * (1.0 - np.cos((edge + 3.0) / 20.0)))
    assert area(donor.cut) == pytest.approx(exact, rel=0.12)
    rim = 20.0 * np.arccos(donor.cut.vertices[donor.loop, 2] / 20.0)
    assert np.ptp(rim) < 1.0
    assert donor.findings == ()


def test_two_hills_are_ambiguous_and_one_can_be_named():
    hills = sum(
        h * np.exp(-(np.linalg.norm(BALL.vertices - place, axis=1) ** 2) / 20.0)
        for h, place in ((6.0, [0, 0, 20]), (5.5, [0, 0, -20]))
    )
    donor = select_donor(BALL, DonorRegion(), standoff=standing(hills))
    assert donor.cut.vertices[:, 2].mean() > 0.0
    assert [finding.code for finding in donor.findings] == ["donor-region-ambiguous"]


def test_the_piece_beside_a_place_is_taken():
    # Two balls, one small: the box takes both tops; the larger piece, or the one that is named.
    both = (sphere(20.0, segments=80) + sphere(9.0, center_mm=[40, 0, 10], segments=80)).mesh
    region = {"kind": "box", "numbers": (-60, -60, 15, 60, 60, 40)}
    assert select_donor(both, DonorRegion(**region)).cut.vertices[:, 0].max() < 20.0
    named = select_donor(both, DonorRegion(**region, near_mm=(40.0, 0.0, 18.0)))
    assert named.cut.vertices[:, 0].min() > 30.0


def test_islands_inside_belong_to_the_region():
    # A ring-shaped selection is filled: the plane cuts a ball with a pit whose bottom lies behind the plane.
    pit = (sphere(20.0, segments=120) - sphere(6.0, center_mm=[0, 0, 20], segments=60)).mesh
    donor = select_donor(pit, DonorRegion(kind="plane", numbers=(0, 0, 1, 16.0)))
    assert donor.cut.vertices[:, 2].min() < 15.0
    assert len(border_loops(donor.cut.faces, edge_table(donor.cut.faces))) == 1


def test_nothing_stands_out():
    with pytest.raises(GeometryError, match=r"stands out by more than 0.5 mm \(most: 0.4 mm\)"):
        select_donor(BALL, DonorRegion(), standoff=standing(np.where(BALL.vertices[:, 2] > 15.0, 0.4, 0.0)))
    with pytest.raises(UsageError, match="needs the standoff"):
        select_donor(BALL, DonorRegion())


def test_what_stands_out_over_a_gap_of_the_recipient_is_refused():
    # A larger hill stands where the recipient was not scanned than anywhere else.
    hills = [
        h * np.exp(-(np.linalg.norm(BALL.vertices - place, axis=1) ** 2) / 20.0)
        for h, place in ((3.0, [0, 0, 20]), (9.0, [0, 0, -20]))
    ]
    gap = BALL.vertices[:, 2] < -12.0
    unscanned = Standoff(scanned_mm=np.where(gap, np.nan, sum(hills)), closed_mm=sum(hills))
    with pytest.raises(GeometryError, match="recipient scan is missing under the part"):
        select_donor(BALL, DonorRegion(), standoff=unscanned)
    half = BALL.vertices[:, 2] < 2.0
    beyond = Standoff(scanned_mm=np.where(half, np.nan, sum(hills)), closed_mm=np.where(half, 40.0, hills[0]))
    assert select_donor(BALL, DonorRegion(), standoff=beyond).cut.vertices[:, 2].min() > 10.0


@pytest.mark.parametrize(
    ("region", "message"),
    [
        (DonorRegion(kind="sphere", numbers=(90, 0, 0, 9)), "holds 0 %"),
        (DonorRegion(kind="sphere", numbers=(0, 0, 0, 90)), "holds 100 %"),
    ],
)
def test_empty_and_full_regions(region, message):
    with pytest.raises(GeometryError, match=message):
        select_donor(BALL, region)


def test_region_at_the_end_of_the_scan():
    kept = BALL.vertices[:, 2] < 15.0
    open_ball = ScanMesh(vertices=BALL.vertices, faces=BALL.faces[kept[BALL.faces].all(axis=1)])
    with pytest.raises(GeometryError, match="donor scan ends"):
        select_donor(open_ball, DonorRegion(kind="plane", numbers=(0, 0, 1, 10)))


def test_a_band_has_two_rims():
    with pytest.raises(GeometryError, match="2 loops, not one"):
        select_donor(BALL, DonorRegion(kind="box", numbers=(-30, -30, -4, 30, 30, 4)))

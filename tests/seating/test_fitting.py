"""The fitted back against volumes in closed form, and recipients that cannot carry a part."""

import numpy as np
import pytest

from mirrorprep.errors import GeometryError
from mirrorprep.geometry.signed_distance import DistanceField
from mirrorprep.seating.donor import select_donor
from mirrorprep.seating.fit_report import back_on_skin
from mirrorprep.seating.fitting import fitted_part
from mirrorprep.seating.margin import thinned_sheet
from mirrorprep.seating.settings import DonorRegion, SeatSettings
from mirrorprep.solid.primitives import box, sphere

BALL = sphere(30.0, segments=160)
CAP = DonorRegion(kind="plane", numbers=(0, 0, 1, 22.0))
TOLD = SeatSettings(edge_mm=1.8, floor_mm=1.8, edge_width_mm=0.5)


def fit(recipient, told=TOLD, radius=32.0, region=CAP):
    donor = select_donor(sphere(radius, segments=200).mesh, region)
    skin = DistanceField(recipient.mesh.vertices, recipient.mesh.faces)
    sheet = thinned_sheet(donor.cut.vertices, donor.cut.faces, donor.loop, skin=skin, settings=told)
    return fitted_part(sheet, recipient, skin, told), skin, sheet


def sector_mm3(inner, outer, sheet):
    """Volume between two spheres inside the cone through the rim: 2π/3 (1 − cosα) (R³ − r³)."""
    rim = sheet.skin_mm[sheet.loop]
    cosine = (rim[:, 2] / np.linalg.norm(rim, axis=1)).mean()
    return 2.0 * np.pi / 3.0 * (1.0 - cosine) * (outer**3 - inner**3)


def test_a_shell_of_known_volume():
    # The wall runs along the skin's normals, so the part is a sector between two spheres.
    fitted, skin, sheet = fit(BALL)
    assert fitted.part.volume_mm3 == pytest.approx(sector_mm3(30.0, 32.0, sheet), rel=5e-3)
    assert back_on_skin(fitted.part, skin, TOLD).largest_error_mm < 1e-9
    assert (BALL & fitted.part).volume_mm3 < 1e-9
    assert fitted.findings == ()


def test_the_gap_is_left_free():
    told = SeatSettings(edge_mm=1.5, floor_mm=1.5, edge_width_mm=0.5, gap_mm=0.3)
    fitted, skin, sheet = fit(BALL, told)
    assert fitted.part.volume_mm3 == pytest.approx(sector_mm3(30.3, 32.0, sheet), rel=7e-3)
    back = back_on_skin(fitted.part, skin, told)
    assert back.largest_error_mm < 0.01
    assert back.deviation.mean_mm == pytest.approx(0.0, abs=0.005)


def test_the_back_follows_a_dented_skin():
    # The dent lies under the part: its volume (a lens of two spheres) is added to the sector.
    dent = sphere(8.0, center_mm=[0, 0, 34.0], segments=100)
    dented = BALL - dent
    fitted, skin, _ = fit(dented)
    plain = fit(BALL)[0].part.volume_mm3
    assert fitted.part.volume_mm3 - plain == pytest.approx((BALL & dent).volume_mm3, rel=2e-3)
    assert back_on_skin(fitted.part, skin, TOLD).largest_error_mm < 1e-9


def test_a_recipient_that_is_too_thin():
    shell = BALL - sphere(29.0, segments=160)
    with pytest.raises(GeometryError, match="too thin or too rugged"):
        fit(shell)


def test_separate_pieces_are_dropped_and_told():
    # A wall of the recipient stands through the part and cuts a slice off.
    wall = box([1.0, 80.0, 40.0], center_mm=[9.0, 0.0, 20.0])
    fitted, _, sheet = fit(BALL + wall)
    assert [finding.code for finding in fitted.findings] == ["seat-pieces-dropped"]
    assert fitted.part.volume_mm3 < sector_mm3(30.0, 32.0, sheet)


def test_stated_direction_is_taken():
    told = SeatSettings(edge_mm=1.8, floor_mm=1.8, edge_width_mm=0.5, direction=(0.0, 3.0, 4.0))
    fitted, skin, _ = fit(BALL, told)
    assert back_on_skin(fitted.part, skin, told).direction.tolist() == pytest.approx([0.0, 0.6, 0.8])
    assert back_on_skin(fitted.part, skin, TOLD).direction[2] > 0.9999

"""How the part fits: its back on the skin, and what the job should know."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from mirrorprep.geometry.normals import doubled_areas, unit
from mirrorprep.geometry.signed_distance import DistanceField
from mirrorprep.seating.deviation import deviation_of
from mirrorprep.seating.margin import Sheet
from mirrorprep.seating.registration import RingFit
from mirrorprep.seating.result import Back
from mirrorprep.seating.settings import SeatSettings
from mirrorprep.seating.undercut import SeatUndercut
from mirrorprep.solid.finding import Finding, Severity
from mirrorprep.solid.solid import Solid

FloatArray = NDArray[np.float64]

BACK_ERROR_MM: Final = 0.05
STEEP_RIM_MM: Final = 3.0
LEAST_SHARE: Final = 0.5
SHOWN_MM: Final = 1e-3
_AGAINST: Final = -0.5


def back_on_skin(part: Solid, skin: DistanceField, settings: SeatSettings) -> Back:
    """Return how the back lies on the skin.

    The back are the triangles that face the skin at about the stated gap. The direction away from the skin
    is the stated one, or the mean of the skin's normals over the back.
    """
    mesh = part.mesh
    twice = doubled_areas(mesh.vertices, mesh.faces)
    area = np.linalg.norm(twice, axis=1) / 2.0
    foot = skin.at(mesh.triangles.mean(axis=1), reach_mm=settings.gap_mm + settings.edge_mm / 2.0)
    against = np.einsum("ij,ij->i", unit(twice), foot.normals) < _AGAINST
    rows = np.flatnonzero(against & np.isfinite(foot.distance_mm))
    corners = np.unique(mesh.faces[rows])
    signed = np.full(len(mesh.vertices), np.nan)
    signed[corners] = skin.at(mesh.vertices[corners]).distance_mm - settings.gap_mm
    weight = np.bincount(mesh.faces[rows].ravel(), np.repeat(area[rows] / 3.0, 3), len(mesh.vertices))
    centers = np.abs(foot.distance_mm[rows] - settings.gap_mm)
    mean = unit((foot.normals[rows] * area[rows, None]).sum(axis=0))
    deviation = deviation_of(
        signed,
        weight.astype(np.float64),
        tolerance_mm=settings.tolerance_mm,
        accuracy_mm=settings.accuracy_mm,
    )
    return Back(
        area_mm2=float(area[rows].sum()),
        gap_mm=settings.gap_mm,
        direction=mean if settings.direction is None else unit(np.array(settings.direction)),
        largest_error_mm=max(deviation.largest_mm, float(centers.max(initial=0.0))),
        deviation=deviation,
    )


def back_words(error_mm: float, gap_mm: float) -> str:
    """Return where the back lies, in words: a thousandth of a millimetre is the finest that is told.

    Examples
    --------
    >>> back_words(4.9e-14, 0.0), back_words(0.0123, 0.3)
    ('on the skin (within 0.001 mm)', '0.3 mm over the skin (within 0.012 mm)')
    """
    place = "on the skin" if gap_mm == 0.0 else f"{gap_mm:g} mm over the skin"
    return f"{place} (within {max(error_mm, SHOWN_MM):.2g} mm)"


def fit_findings(
    ring: RingFit, sheet: Sheet, back: Back, undercut: SeatUndercut, settings: SeatSettings
) -> list[Finding]:
    """Return what the job should know about placement, margin, back and undercut."""
    return [
        *_movement(ring, settings),
        *_rim(sheet),
        *_back(back),
        *_undercut(undercut),
    ]


def _movement(ring: RingFit, settings: SeatSettings) -> list[Finding]:
    found = []
    if ring.shift_mm > settings.most_shift_mm or ring.turn_deg > settings.most_turn_deg:
        found.append(
            Finding(
                code="seat-moved-far",
                severity=Severity.STOP,
                message=f"Settling moved the part by {ring.shift_mm:.2g} mm and {ring.turn_deg:.2g}° "
                f"(limits {settings.most_shift_mm:g} mm and {settings.most_turn_deg:g}°).",
                measured=ring.shift_mm,
                limit=settings.most_shift_mm,
                remedy="Check the mirror plane or the landmarks; widen the limits only with a reason.",
            )
        )
    if ring.share < LEAST_SHARE:
        found.append(
            Finding(
                code="margin-little-matched",
                severity=Severity.CAUTION,
                message=f"Only {100.0 * ring.share:.0f} % of the skin around the part agrees with the "
                "recipient.",
                measured=ring.share,
                limit=LEAST_SHARE,
                remedy="Choose a region whose surroundings are sound on both sides, or a wider ring.",
            )
        )
    return found


def _rim(sheet: Sheet) -> list[Finding]:
    height = np.abs(sheet.height_mm[sheet.loop])
    worst = int(height.argmax())
    if height[worst] <= STEEP_RIM_MM:
        return []
    x, y, z = sheet.skin_mm[sheet.loop[worst]]
    return [
        Finding(
            code="margin-steep",
            severity=Severity.CAUTION,
            message=f"At its rim the mirrored skin lies {height[worst]:.1f} mm off the recipient's skin "
            f"(limit {STEEP_RIM_MM:g} mm): the margin is bent down to it.",
            where=((float(x), float(y), float(z)),),
            measured=float(height[worst]),
            limit=STEEP_RIM_MM,
            remedy="Choose a larger region, or a wider edge.",
        )
    ]


def _back(back: Back) -> list[Finding]:
    if back.largest_error_mm <= BACK_ERROR_MM:
        return []
    return [
        Finding(
            code="back-off-skin",
            severity=Severity.CAUTION,
            message=f"The back misses its distance from the skin by up to {back.largest_error_mm:.2g} mm "
            f"(limit {BACK_ERROR_MM:g} mm).",
            measured=back.largest_error_mm,
            limit=BACK_ERROR_MM,
            remedy="A sharp crease of the skin cannot keep the gap on both sides; make the gap smaller."
            if back.gap_mm > 0.0
            else "Some of the part lies close over the skin and faces it, as where the recipient still has a "
            "part of its own: look at the pictures, and choose a smaller region.",
        )
    ]


def _undercut(undercut: SeatUndercut) -> list[Finding]:
    if undercut.where_mm is None:
        return []
    x, y, z = undercut.where_mm
    return [
        Finding(
            code="seat-undercut",
            severity=Severity.CAUTION,
            message=f"Taken straight off, the part catches on {undercut.largest_mm:.1f} mm of skin "
            f"({undercut.volume_mm3:.3g} mm³ in all).",
            where=((float(x), float(y), float(z)),),
            measured=undercut.largest_mm,
            limit=0.0,
            remedy="Use a flexible material, state another direction, or choose a region without it.",
        )
    ]

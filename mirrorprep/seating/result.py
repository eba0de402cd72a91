"""What the seating answers."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from mirrorprep.seating.deviation import Deviation
from mirrorprep.seating.natural_asymmetry import FACTS
from mirrorprep.seating.registration import RingFit
from mirrorprep.seating.settings import SeatSettings
from mirrorprep.seating.undercut import SeatUndercut
from mirrorprep.solid.finding import Finding
from mirrorprep.solid.solid import Solid

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class LandmarkFit:
    """How the landmarks of two scans came to lie on each other.

    Attributes
    ----------
    rms_mm : float
        Root mean square of the residuals.
    residual_mm : dict of str to float
        Distance left between the partners.
    """

    rms_mm: float
    residual_mm: dict[str, float]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Back:
    """How the back of the part lies on the skin.

    Attributes
    ----------
    area_mm2 : float
        Of the back.
    gap_mm : float
        Stated distance from the skin.
    direction : (3,) float64
        Unit direction away from the skin.
    largest_error_mm : float
        Largest difference between the distance of the back from the skin and the stated one, at the
        vertices and the centres of its triangles.
    deviation : Deviation
        The same as a map over the part's vertices (nan off the back), and its figures.
    """

    area_mm2: float
    gap_mm: float
    direction: FloatArray
    largest_error_mm: float
    deviation: Deviation


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Seating:
    """The donor part seated on the recipient side.

    Attributes
    ----------
    part : Solid
        Closed; in the recipient's coordinates.
    matrix : (4, 4) float64
        From the donor scan to its place on the recipient.
    donor_part : Solid
        The part taken back to the donor side, for pictures.
    loop_mm : (k, 3) float64
        Rim of the part on the recipient's skin.
    ring : RingFit
        How the ring of skin around the part settled.
    landmarks : LandmarkFit or None
        How the landmarks fit; None on the whole-head route.
    back : Back
        How the back lies on the skin.
    undercut : SeatUndercut
        What keeps the part from coming straight off.
    healthy : Deviation
        Placed donor skin around the part against the recipient, at the donor scan's vertices.
    findings : tuple of Finding
        What was noticed.
    settings : SeatSettings
        What the seating was told.
    """

    part: Solid
    matrix: FloatArray
    donor_part: Solid
    loop_mm: FloatArray
    ring: RingFit
    landmarks: LandmarkFit | None
    back: Back
    undercut: SeatUndercut
    healthy: Deviation
    findings: tuple[Finding, ...]
    settings: SeatSettings

    @property
    def volume_mm3(self) -> float:
        """Volume of the part."""
        return self.part.volume_mm3

    def as_dict(self) -> dict[str, Any]:
        """Return plain data for JSON."""
        where = self.undercut.where_mm
        around = np.linalg.norm(np.diff(self.loop_mm, axis=0, append=self.loop_mm[:1]), axis=1)
        return {
            "solid": True,
            "volume_mm3": self.volume_mm3,
            "triangles": len(self.part.mesh.faces),
            "size_mm": self.part.mesh.size_mm.tolist(),
            "route": "plane" if self.landmarks is None else "landmarks",
            "matrix": self.matrix.tolist(),
            "rim_length_mm": float(around.sum()),
            "moved": {
                "shift_mm": self.ring.shift_mm,
                "turn_deg": self.ring.turn_deg,
                "freedoms": self.ring.freedoms,
                "ring_rms_mm": self.ring.rms_mm,
                "ring_rms_before_mm": self.ring.rms_before_mm,
                "ring_share": self.ring.share,
            },
            "landmarks": None
            if self.landmarks is None
            else {"rms_mm": self.landmarks.rms_mm, "residual_mm": self.landmarks.residual_mm},
            "back": {
                "area_mm2": self.back.area_mm2,
                "gap_mm": self.back.gap_mm,
                "direction": self.back.direction.tolist(),
                "largest_error_mm": self.back.largest_error_mm,
            },
            "undercut": {
                "direction": self.undercut.direction.tolist(),
                "volume_mm3": self.undercut.volume_mm3,
                "largest_mm": self.undercut.largest_mm,
                "where_mm": None if where is None else where.tolist(),
            },
            "deviation": {"healthy": self.healthy.as_dict(), "skin": self.back.deviation.as_dict()},
            "natural_asymmetry": [{"text": fact.text, "reference": fact.reference} for fact in FACTS],
            "findings": [finding.as_dict() for finding in self.findings],
            "settings": self.settings.as_dict(),
        }

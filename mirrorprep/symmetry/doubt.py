"""When to doubt the best plane, and what to tell the user."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mirrorprep.solid.finding import Finding, Severity
from mirrorprep.symmetry.hint import LEAST_DEG
from mirrorprep.symmetry.judge import LEAST_SLIP, Judged
from mirrorprep.symmetry.newton import tangents

FloatArray = NDArray[np.float64]
Axis = tuple[float, float, float]

LEAST_LEAD = 0.2
CAUTION_LEAD = 0.35
AS_DENSE = 0.9
AS_WIDE = 0.3
LEAST_SHARPNESS = 0.15
LEAST_NATS = 0.2
MOST_CONTRADICTED = 0.25
MARGIN_DEG = 3.0
BOUND_SD = 2.0
LOOSEST_DEG = 1.0
LOOSEST_PERCENT = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """Reasons to doubt a plane.

    Attributes
    ----------
    lead : float
        By which share the best score exceeds the best score of another plane.
    rivals : int
        Number of other planes that fit about as well.
    free_axis : tuple of float or None
        Axis about which, or along which, a whole family of planes fits.
    nats : float
        Evidence of the best plane.
    pinned : bool
        True when landmarks hold the plane where the surface does not.
    bound_deg, bound_percent : float
        Two standard deviations of the direction, and of the place in % of the diagonal.
    """

    lead: float
    rivals: int
    free_axis: Axis | None
    nats: float
    pinned: bool
    bound_deg: float = 0.0
    bound_percent: float = 0.0

    @property
    def loose(self) -> bool:
        """True when the surface alone holds the plane to less than 1° or 1 % of the diagonal."""
        return not self.pinned and (self.bound_deg > LOOSEST_DEG or self.bound_percent > LOOSEST_PERCENT)

    @property
    def status(self) -> str:
        """``clear``, ``ambiguous`` or ``weak``."""
        if self.nats < LEAST_NATS:
            return "weak"
        slides = self.free_axis is not None and not self.pinned
        if slides or self.rivals:
            return "ambiguous"
        return "weak" if self.loose else "clear"


def doubt(judged: Judged, *, pinned: bool = False, sd: tuple[float, float] = (0.0, 0.0)) -> Doubt:
    """Compare the first of the judged planes with the others; a pinned one has no rivals in its family.

    `sd` holds the standard deviations of its direction in degrees and of its place in % of the diagonal.
    """
    lead = 1.0 - judged.scores[1:] / judged.scores[0]
    density = judged.nats / np.maximum(judged.known, 1e-9)
    dense = (density[1:] >= AS_DENSE * density[0]) & (judged.nats[1:] >= AS_WIDE * judged.nats[0])
    rivals = (lead < LEAST_LEAD) | dense
    slips = judged.sharpness[0] < LEAST_SHARPNESS or judged.slip[0, 0] < LEAST_SLIP
    return Doubt(
        lead=float(lead.min(initial=1.0)),
        rivals=0 if slips and pinned else int(rivals.sum()),
        free_axis=free_axis(judged) if slips else None,
        nats=float(judged.nats[0]),
        pinned=pinned,
        bound_deg=BOUND_SD * sd[0],
        bound_percent=BOUND_SD * sd[1],
    )


def free_axis(judged: Judged) -> Axis:
    """Return the axis of the family that the first plane slides in.

    A tilt turns the plane about an axis in it; a shift moves it along its normal.
    """
    normal, loose = judged.normals[0], judged.freedoms[0, :, 0]
    u, v = tangents(normal[None])
    tilt = loose[0] * u[0] + loose[1] * v[0]
    axis = np.cross(normal, tilt) if np.linalg.norm(tilt) > abs(loose[2]) else normal
    axis = axis / np.linalg.norm(axis)
    axis = axis * (1.0 if axis[np.abs(axis).argmax()] > 0.0 else -1.0)
    return float(axis[0]), float(axis[1]), float(axis[2])


def findings(found: Doubt, *, contradicted: float, chosen: bool) -> list[Finding]:
    """Return what to tell the user.

    Parameters
    ----------
    found : Doubt
        The reasons.
    contradicted : float
        Share of the area that has no counterpart although the surface there is known.
    chosen : bool
        The user took a plane of the list himself: what would stop is a caution, as with landmarks.
    """
    grave = Severity.CAUTION if chosen or found.pinned else Severity.STOP
    told = []
    if found.free_axis is not None:
        named = ", ".join(f"{component:.3f}" for component in found.free_axis)
        told.append(
            Finding(
                code="mirror-plane-family",
                severity=grave,
                message=f"A whole family of planes fits: they turn about or shift along ({named}).",
                remedy="Give landmarks, or a region that breaks the family, or choose a plane.",
            )
        )
    if found.rivals:
        others = "Another plane fits" if found.rivals == 1 else f"{found.rivals} other planes fit"
        told.append(
            Finding(
                code="mirror-plane-ambiguous",
                severity=grave,
                message=f"{others} about as well as the best (lead {found.lead:.0%}).",
                measured=found.lead,
                limit=LEAST_LEAD,
                remedy="Look at the alternatives and choose one, or give landmarks.",
            )
        )
    elif found.lead < CAUTION_LEAD:
        told.append(
            Finding(
                code="mirror-plane-close-second",
                severity=Severity.CAUTION,
                message=f"Another plane comes close to the best (lead {found.lead:.0%}).",
                measured=found.lead,
                limit=CAUTION_LEAD,
                remedy="Look at the alternatives.",
            )
        )
    if found.nats < LEAST_NATS:
        told.append(
            Finding(
                code="mirror-plane-weak",
                severity=grave,
                message=f"Little of the scan speaks for a plane: evidence {found.nats:.2g} nats a sample.",
                measured=found.nats,
                limit=LEAST_NATS,
                remedy="Give landmarks, or a region that is known to be symmetric.",
            )
        )
    elif found.loose and found.status == "weak":
        told.append(
            Finding(
                code="mirror-plane-loose",
                severity=grave,
                message=(
                    f"The surface holds the plane only to {found.bound_deg:.1f}° and "
                    f"{found.bound_percent:.1f} % of the scan's diagonal (two standard deviations)."
                ),
                measured=found.bound_deg,
                limit=LOOSEST_DEG,
                remedy="Give landmarks, or a region that is known to be symmetric, or choose the plane.",
            )
        )
    if contradicted > MOST_CONTRADICTED:
        told.append(
            Finding(
                code="mirror-plane-contradicted",
                severity=Severity.CAUTION,
                message=f"{contradicted:.0%} of the scanned area has no counterpart on the other side.",
                measured=contradicted,
                limit=MOST_CONTRADICTED,
                remedy="Look at the asymmetry map; leave out what does not belong to the body.",
            )
        )
    return told


def disagreement(angle_deg: float, marked_sd_deg: float) -> list[Finding]:
    """Return a finding when surface and landmarks tell different planes."""
    limit = MARGIN_DEG + (3.0 * marked_sd_deg if np.isfinite(marked_sd_deg) else 0.0)
    if angle_deg <= limit:
        return []
    return [
        Finding(
            code="landmarks-disagree",
            severity=Severity.STOP if angle_deg > LEAST_DEG else Severity.CAUTION,
            message=f"The plane of the surface lies {angle_deg:.1f}° from the plane of the landmarks.",
            measured=angle_deg,
            limit=limit,
            remedy="Check the landmarks and their unit, or leave the damaged region out.",
        )
    ]

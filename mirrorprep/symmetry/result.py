"""What the mirror-plane search answers."""

from dataclasses import dataclass

from mirrorprep.solid.finding import Finding
from mirrorprep.solid.plane import Plane


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class RankedPlane:
    """One plane of the ranked list.

    Attributes
    ----------
    plane : Plane
        Where it lies.
    score : float
        0 to 1; comparable within one scan only.
    """

    plane: Plane
    score: float

    def as_dict(self) -> dict[str, object]:
        """Return plain data for JSON."""
        return {**self.plane.as_dict(), "score": self.score}


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class MirrorPlaneResult:
    """The mirror plane of a scan, how well it holds, and what else it might be.

    Attributes
    ----------
    plane : Plane
        The chosen plane.
    status : str
        ``clear``, ``ambiguous`` (another plane, or a whole family, fits about as well) or ``weak`` (the
        scan is hardly symmetric about it, or holds it to less than 1° or 1 % of its diagonal).
    asymmetry_rms_mm, asymmetry_p95_mm : float
        Root mean square and 95th percentile of the distance between the mirrored and the scanned surface,
        over the matched share.
    sd_deg, sd_mm : float
        Standard deviation of the plane's direction and of its place at the centre of the scan.
    matched_share, unknown_share, contradicted_share : float
        Shares of the scanned area that have a mirrored counterpart, that would have it where the surface
        is not known, and that have none although the surface there is known. They sum to 1.
    evidence_nats : float
        Mean weight of evidence of a sample, natural units: 5 for an exact mirror image, about 1.5 for a
        face, below 0.2 for a body without symmetry.
    slip : tuple of float
        How firmly the surface holds the plane, in its three freedoms, smallest first.
    free_axis : tuple of float or None
        Unit axis about or along which a continuous family of planes fits equally well.
    alternatives : tuple of RankedPlane
        Every plane that was weighed, best first; the first is the searched best.
    choice : int
        Which of them was taken, counted from 1.
    findings : tuple of Finding
        Cautions that the result carries.
    settings : dict
        What the search was told.
    """

    plane: Plane
    status: str
    asymmetry_rms_mm: float
    asymmetry_p95_mm: float
    sd_deg: float
    sd_mm: float
    matched_share: float
    unknown_share: float
    contradicted_share: float
    evidence_nats: float
    slip: tuple[float, float, float]
    free_axis: tuple[float, float, float] | None
    alternatives: tuple[RankedPlane, ...]
    choice: int
    findings: tuple[Finding, ...]
    settings: dict[str, object]

    def as_dict(self) -> dict[str, object]:
        """Return plain data for JSON."""
        return {
            **self.plane.as_dict(),
            "status": self.status,
            "asymmetry_rms_mm": self.asymmetry_rms_mm,
            "asymmetry_p95_mm": self.asymmetry_p95_mm,
            "sd_deg": self.sd_deg,
            "sd_mm": self.sd_mm,
            "matched_share": self.matched_share,
            "unknown_share": self.unknown_share,
            "contradicted_share": self.contradicted_share,
            "evidence_nats": self.evidence_nats,
            "slip": list(self.slip),
            "free_axis": None if self.free_axis is None else list(self.free_axis),
            "alternatives": [ranked.as_dict() for ranked in self.alternatives],
            "choice": self.choice,
            "findings": [finding.as_dict() for finding in self.findings],
            "settings": self.settings,
        }

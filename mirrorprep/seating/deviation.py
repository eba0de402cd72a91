"""Deviation: the signed distance of one surface from another, as a map and as figures."""

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from mirrorprep.errors import GeometryError
from mirrorprep.geometry.normals import doubled_areas, vertex_normals
from mirrorprep.geometry.signed_distance import DistanceField
from mirrorprep.solid.finding import Finding, Severity
from mirrorprep.solid.mesh import ScanMesh, frozen
from mirrorprep.solid.solid import Solid

FloatArray = NDArray[np.float64]

BINS: Final = 41
REACH_MM: Final = 25.0
FACING: Final = 0.0
LEAST_MATCHED: Final = 0.5


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Deviation:
    """How far one surface lies from another.

    Attributes
    ----------
    distance_mm : (n,) float64
        For each vertex the signed distance, positive outside the reference; nan where it has no counterpart.
    rms_mm, mean_mm, p95_mm, largest_mm : float
        Root mean square, signed mean, 95th percentile and largest magnitude, weighted by area.
    matched_share : float
        Share of the area that has a counterpart; the figures speak of it alone.
    within_share : float or None
        Share of that area whose deviation is within the tolerance; None when no tolerance is stated.
    tolerance_mm, accuracy_mm : float or None
        The tolerance, and the scan's accuracy (one standard deviation).
    bin_edges_mm, bin_shares : array
        Histogram over the matched area; what lies beyond its ends is counted in the last bins.
    findings : tuple of Finding
        What limits the figures.
    """

    distance_mm: FloatArray
    rms_mm: float
    mean_mm: float
    p95_mm: float
    largest_mm: float
    matched_share: float
    within_share: float | None
    tolerance_mm: float | None
    accuracy_mm: float | None
    bin_edges_mm: FloatArray
    bin_shares: FloatArray
    findings: tuple[Finding, ...]

    def as_dict(self) -> dict[str, Any]:
        """Return plain data for JSON, without the map."""
        names = (
            "rms_mm", "mean_mm", "p95_mm", "largest_mm", "matched_share", "within_share", "tolerance_mm",
            "accuracy_mm",
        )  # fmt: skip
        return {
            **{name: getattr(self, name) for name in names},
            "histogram": {"edges_mm": self.bin_edges_mm.tolist(), "shares": self.bin_shares.tolist()},
            "findings": [finding.as_dict() for finding in self.findings],
        }


def compare(
    scan: ScanMesh | Solid,
    reference: ScanMesh | Solid,
    *,
    tolerance_mm: float | None = None,
    accuracy_mm: float | None = None,
    reach_mm: float = REACH_MM,
) -> Deviation:
    """Return how far a surface lies from a reference surface.

    Parameters
    ----------
    scan : ScanMesh or Solid
        The surface that is measured, at its vertices.
    reference : ScanMesh or Solid
        The surface it is measured against, in the same place: nothing is moved.
    tolerance_mm : float, optional
        Deviation that is accepted.
    accuracy_mm : float, optional
        Accuracy of the scan, one standard deviation.
    reach_mm : float
        Beyond this distance a place counts as without counterpart.

    Returns
    -------
    Deviation

    Raises
    ------
    GeometryError
        If no place of the scan has a counterpart.

    Notes
    -----
    A counterpart must lie within reach, off the reference's open edges, and face the same way.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import sphere
    >>> result = compare(sphere(11.0, segments=128), sphere(10.0, segments=128))
    >>> round(result.mean_mm, 2)
    1.0
    """
    mesh = scan.mesh if isinstance(scan, Solid) else scan
    other = reference.mesh if isinstance(reference, Solid) else reference
    foot = DistanceField(other.vertices, other.faces).at(mesh.vertices, reach_mm=reach_mm)
    normals = vertex_normals(mesh.vertices, mesh.faces)
    same = np.einsum("ij,ij->i", normals, foot.normals) > FACING
    return deviation_of(
        np.where(foot.known & same, foot.distance_mm, np.nan),
        vertex_areas(mesh),
        tolerance_mm=tolerance_mm,
        accuracy_mm=accuracy_mm,
    )


def deviation_of(
    distance_mm: FloatArray,
    area: FloatArray,
    *,
    tolerance_mm: float | None = None,
    accuracy_mm: float | None = None,
) -> Deviation:
    """Return the figures of signed distances (nan: no counterpart) weighted by the area at each.

    Raises
    ------
    GeometryError
        If no place with area has a counterpart.

    Examples
    --------
    >>> result = deviation_of(np.array([3.0, -4.0, np.nan]), np.array([1.0, 1.0, 2.0]))
    >>> round(result.rms_mm**2, 9), result.matched_share
    (12.5, 0.5)
    """
    met = np.isfinite(distance_mm) & (area > 0.0)
    if not met.any():
        raise GeometryError(
            "No place of the surface has a counterpart on the reference.",
            remedy="Check that both lie in the same coordinates and unit, or allow a longer reach.",
        )
    value, weight = distance_mm[met], area[met] / area[met].sum()
    size = np.abs(value)
    p95 = _quantile(size, weight, 0.95)
    span = max(min(_quantile(size, weight, 0.995), 3.0 * p95), 2.0 * (tolerance_mm or 0.0), 1e-9)
    edges = np.linspace(-span, span, BINS + 1)
    shares = np.histogram(np.clip(value, -span, span), edges, weights=weight)[0]
    matched = float(area[met].sum() / area.sum())
    rms = float(np.sqrt(weight @ value**2))
    return Deviation(
        distance_mm=frozen(np.where(met, distance_mm, np.nan), np.float64),
        rms_mm=rms,
        mean_mm=float(weight @ value),
        p95_mm=p95,
        largest_mm=float(size.max()),
        matched_share=matched,
        within_share=None if tolerance_mm is None else float(weight[size <= tolerance_mm].sum()),
        tolerance_mm=tolerance_mm,
        accuracy_mm=accuracy_mm,
        bin_edges_mm=frozen(edges, np.float64),
        bin_shares=frozen(shares, np.float64),
        findings=tuple(_findings(rms, matched, tolerance_mm, accuracy_mm)),
    )


def vertex_areas(mesh: ScanMesh) -> FloatArray:
    """Return a third of the area of the faces around each vertex, shape (n,)."""
    area = np.linalg.norm(doubled_areas(mesh.vertices, mesh.faces), axis=1) / 6.0
    return np.bincount(mesh.faces.ravel(), np.repeat(area, 3), len(mesh.vertices)).astype(np.float64)


def _told(value_mm: float) -> str:
    return f"{value_mm:.2g} mm" if value_mm >= 1e-3 else "less than 0.001 mm"


def _quantile(size: FloatArray, weight: FloatArray, share: float) -> float:
    order = np.argsort(size, kind="stable")
    ladder = np.cumsum(weight[order])
    place = np.searchsorted(ladder, share * ladder[-1])
    return float(size[order[min(int(place), len(size) - 1)]])


def _findings(rms: float, matched: float, tolerance: float | None, accuracy: float | None) -> list[Finding]:
    found = []
    if matched < LEAST_MATCHED:
        found.append(
            Finding(
                code="deviation-little-matched",
                severity=Severity.CAUTION,
                message=f"Only {100.0 * matched:.0f} % of the surface has a counterpart; the figures speak "
                "of that share alone.",
                measured=matched,
                limit=LEAST_MATCHED,
                remedy="Check the placement, or measure a smaller region.",
            )
        )
    if accuracy is not None and rms < accuracy:
        found.append(
            Finding(
                code="deviation-below-accuracy",
                severity=Severity.NOTE,
                message=f"The deviation of {_told(rms)} RMS is below the scan's accuracy of "
                f"{accuracy:g} mm: the scan cannot show it.",
                measured=rms,
                limit=accuracy,
                remedy="Take it as 'not more than the accuracy'.",
            )
        )
    if tolerance is not None and accuracy is not None and tolerance < 2.0 * accuracy:
        found.append(
            Finding(
                code="tolerance-below-accuracy",
                severity=Severity.CAUTION,
                message=f"A tolerance of {tolerance:g} mm cannot be told from the scan's own error "
                f"(two standard deviations are {2.0 * accuracy:g} mm).",
                measured=tolerance,
                limit=2.0 * accuracy,
                remedy="Scan more accurately, or accept a wider tolerance.",
            )
        )
    return found

"""Seating: the healthy part, mirrored, on the recipient side."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from mirrorprep.errors import UsageError
from mirrorprep.geometry.normals import vertex_normals
from mirrorprep.geometry.reflection import reflection_matrix
from mirrorprep.geometry.rigid_fit import moved
from mirrorprep.geometry.signed_distance import DistanceField
from mirrorprep.progress import SILENT, Progress
from mirrorprep.seating.deviation import REACH_MM, Deviation, deviation_of, vertex_areas
from mirrorprep.seating.donor import Donor, select_donor
from mirrorprep.seating.fit_report import back_on_skin, fit_findings
from mirrorprep.seating.fitting import fitted_part
from mirrorprep.seating.hollow import without_hollows
from mirrorprep.seating.landmark_pairs import LandmarkPairs, placed_by_landmarks
from mirrorprep.seating.margin import Sheet, thinned_sheet
from mirrorprep.seating.registration import RingFit, settle_ring
from mirrorprep.seating.result import LandmarkFit, Seating
from mirrorprep.seating.retention import with_retention
from mirrorprep.seating.settings import SeatSettings
from mirrorprep.seating.standing_out import LEAST_STANDOFF_MM, MOST_STANDOFF_MM, Standoff
from mirrorprep.seating.undercut import seat_undercut
from mirrorprep.solid.certify import certify
from mirrorprep.solid.finding import Finding
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.plane import Plane
from mirrorprep.solid.solid import Solid

FloatArray = NDArray[np.float64]

AROUND_MM: Final = 50.0


@dataclass(frozen=True, slots=True, eq=False)
class _Scene:
    """Donor and recipient, prepared."""

    donor: ScanMesh
    recipient: Solid
    scanned: DistanceField
    skin: DistanceField
    settings: SeatSettings


def seat(
    donor: ScanMesh | Solid,
    recipient: ScanMesh | Solid,
    by: Plane | LandmarkPairs,
    *,
    body: Solid | None = None,
    settings: SeatSettings | None = None,
    progress: Progress = SILENT,
) -> Seating:
    """Return the donor's part, mirrored and seated on the recipient side.

    Parameters
    ----------
    donor : ScanMesh or Solid
        Scan with the healthy part; may be open away from it.
    recipient : ScanMesh or Solid
        Scan of the side that gets the part; the same as the donor on the whole-head route.
    by : Plane or LandmarkPairs
        Mid-sagittal plane across which the donor is mirrored, or landmarks that join two scans.
    body : Solid, optional
        The recipient closed, for taking its skin away from the part; needed when `recipient` is open.
    settings : SeatSettings, optional
        Region, margin, limits.
    progress : Progress
        Reporter.

    Returns
    -------
    Seating
        The part with how it was moved, how it fits, and how the sides differ.

    Raises
    ------
    NotASolidError
        If the recipient is open and no `body` is given.
    GeometryError
        If the region cannot be cut, left and right of the landmarks are exchanged, or the recipient's skin
        is missing where the part is to sit.

    Notes
    -----
    A mirrored ear is a starting shape, not a copy of the lost one.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import sphere
    >>> bump = sphere(6.0, center_mm=[28.0, 0.0, 0.0], segments=64)
    >>> ball = sphere(30.0, segments=200) + bump
    >>> seated = seat(ball, ball, Plane(normal=[1, 0, 0], offset_mm=0.0))
    >>> bool(abs(seated.part.bounds_mm[0, 0] + 34.0) < 0.05)
    True
    """
    if not isinstance(by, Plane | LandmarkPairs):
        raise UsageError(f"'by' is {type(by).__name__}.", remedy="Give a Plane or LandmarkPairs.")
    progress.step("preparing the skin", 0.0)
    scene = _scene(donor, recipient, body, settings or SeatSettings())
    placed, landmarks, findings = _placed(scene, by)
    progress.step("selecting the donor region", 0.15)
    region = select_donor(
        scene.donor,
        scene.settings.region,
        standoff=_standoff(scene, placed) if scene.settings.region.kind == "auto" else None,
        grow_mm=scene.settings.grow_mm,
    )
    progress.step("settling the margin", 0.45)
    ring = _settled(scene, region, placed)
    matrix = ring.matrix @ placed
    progress.step("fitting the back", 0.55)
    sheet, closed = _sheet(scene, region, matrix)
    fitted = fitted_part(sheet, scene.recipient, scene.skin, scene.settings)
    progress.step("measuring the fit", 0.8)
    back = back_on_skin(fitted.part, scene.skin, scene.settings)
    part, short = with_retention(fitted.part, back.direction, scene.settings.retention)
    undercut = seat_undercut(fitted.part, fitted.seat, back.direction, shown=part)
    progress.step("measuring the sides", 0.9)
    healthy = _healthy(scene, region, matrix, sheet)
    return Seating(
        part=part,
        matrix=matrix,
        donor_part=part.transformed(np.linalg.inv(matrix)),
        loop_mm=sheet.skin_mm[sheet.loop],
        ring=ring,
        landmarks=landmarks,
        back=back if part is fitted.part else back_on_skin(part, scene.skin, scene.settings),
        undercut=undercut,
        healthy=healthy,
        findings=(
            *(*findings, *region.findings, *closed, *fitted.findings, *short, *healthy.findings),
            *fit_findings(ring, sheet, back, undercut, scene.settings),
        ),
        settings=scene.settings,
    )


def _scene(
    donor: ScanMesh | Solid, recipient: ScanMesh | Solid, body: Solid | None, settings: SeatSettings
) -> _Scene:
    scan = recipient.mesh if isinstance(recipient, Solid) else recipient
    solid = recipient if isinstance(recipient, Solid) else body or certify(recipient)
    scanned = DistanceField(scan.vertices, scan.faces)
    same = body is None or body.mesh is scan
    return _Scene(
        donor=donor.mesh if isinstance(donor, Solid) else donor,
        recipient=solid,
        scanned=scanned,
        skin=scanned if same else DistanceField(solid.mesh.vertices, solid.mesh.faces),
        settings=settings,
    )


def _placed(
    scene: _Scene, by: Plane | LandmarkPairs
) -> tuple[FloatArray, LandmarkFit | None, tuple[Finding, ...]]:
    """Return the first placement of the donor."""
    if isinstance(by, Plane):
        return reflection_matrix(by.normal, by.offset_mm), None, ()
    donor = DistanceField(scene.donor.vertices, scene.donor.faces)
    fit, findings = placed_by_landmarks(by, donor, scene.scanned, mirrored=scene.settings.mirrored)
    residuals = dict(zip(by.names, fit.residual_mm.tolist(), strict=True))
    return fit.matrix, LandmarkFit(rms_mm=fit.rms_mm, residual_mm=residuals), findings


def _standoff(scene: _Scene, placed: FloatArray) -> Standoff:
    """Return how far every placed donor vertex stands out from the recipient.

    Exact where it matters for what stands out; small ones from tangent planes, large ones from vertices.
    """
    points = moved(scene.donor.vertices, placed)
    options = {"least_mm": LEAST_STANDOFF_MM, "reach_mm": MOST_STANDOFF_MM}
    scanned = scene.scanned.roughly(points, _normals(scene, placed), **options)
    closed, unknown = scanned.copy(), np.flatnonzero(np.isnan(scanned))
    closed[unknown] = scene.skin.near(points[unknown], reach_mm=MOST_STANDOFF_MM).distance_mm
    return Standoff(scanned_mm=scanned, closed_mm=closed)


def _normals(scene: _Scene, matrix: FloatArray) -> FloatArray:
    return np.asarray(vertex_normals(scene.donor.vertices, scene.donor.faces) @ matrix[:3, :3].T)


def _settled(scene: _Scene, region: Donor, placed: FloatArray) -> RingFit:
    outside = region.outside_mm
    ring = np.flatnonzero((outside > 0.0) & (outside < scene.settings.ring_mm))
    points = moved(scene.donor.vertices[ring], placed)
    return settle_ring(points, _normals(scene, placed)[ring], scene.scanned)


def _sheet(scene: _Scene, region: Donor, matrix: FloatArray) -> tuple[Sheet, tuple[Finding, ...]]:
    mirrored = np.linalg.det(matrix[:3, :3]) < 0.0
    faces = region.cut.faces[:, ::-1] if mirrored else region.cut.faces
    loop = region.loop[::-1] if mirrored else region.loop
    vertices = moved(region.cut.vertices, matrix)
    sheet = thinned_sheet(vertices, faces, loop, skin=scene.skin, settings=scene.settings)
    if not scene.settings.close_hollows:
        return sheet, ()
    return without_hollows(sheet, scene.skin, scene.settings)


def _healthy(scene: _Scene, region: Donor, matrix: FloatArray, sheet: Sheet) -> Deviation:
    """Return the deviation of the placed donor skin around the part from the recipient."""
    points = moved(scene.donor.vertices, matrix)
    center = sheet.skin_mm[sheet.loop].mean(axis=0)
    reach = float(np.linalg.norm(sheet.skin_mm[sheet.loop] - center, axis=1).max()) + AROUND_MM
    around = (region.outside_mm > 0.0) & (np.linalg.norm(points - center, axis=1) < reach)
    signed = np.full(len(points), np.nan)
    foot = scene.scanned.at(points[around], reach_mm=REACH_MM)
    same = np.einsum("ij,ij->i", _normals(scene, matrix)[around], foot.normals) > 0.0
    signed[around] = np.where(foot.known & same, foot.distance_mm, np.nan)
    area = np.where(around, vertex_areas(scene.donor), 0.0)
    limits = scene.settings
    return deviation_of(signed, area, tolerance_mm=limits.tolerance_mm, accuracy_mm=limits.accuracy_mm)

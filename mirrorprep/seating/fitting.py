"""From the outside to a closed part whose back is the recipient's skin."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import KDTree

from mirrorprep.errors import GeometryError, NotASolidError
from mirrorprep.geometry.hole_filling import minimal_area_triangulation
from mirrorprep.geometry.normals import vertex_normals
from mirrorprep.geometry.patch_refinement import refine_patch
from mirrorprep.geometry.signed_distance import DistanceField
from mirrorprep.seating.margin import Sheet, smooth_step
from mirrorprep.seating.settings import SeatSettings
from mirrorprep.solid.certify import certify
from mirrorprep.solid.finding import Finding, Severity
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.solid import Solid

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

DEPTH_MM: Final = 2.0
CAP_EDGE_MM: Final = 2.5
_CAP_GROWTH: Final = 0.1
_CAP_ROUNDS: Final = 4
_REACH_MM: Final = 12.0
_CRUMB_SHARE: Final = 1e-3


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Fitted:
    """The closed part on the skin.

    Attributes
    ----------
    part : Solid
        Its back lies on the skin, or on the skin moved outward by the gap.
    seat : Solid
        The recipient that was taken away from it.
    findings : tuple of Finding
        What was dropped.
    """

    part: Solid
    seat: Solid
    findings: tuple[Finding, ...]


def fitted_part(sheet: Sheet, recipient: Solid, skin: DistanceField, settings: SeatSettings) -> Fitted:
    """Return the part between the outside and the recipient's skin.

    The outside gets a wall along the skin's normals into the recipient and a cap inside it; the recipient,
    with its skin moved outward by the gap, is then taken away exactly.

    Raises
    ------
    GeometryError
        If the skin under the part is thinner than the wall reaches, or nothing is left over the skin.
    """
    body = _closed(sheet, skin)
    seat = recipient if settings.gap_mm == 0.0 else _raised(recipient, sheet, settings.gap_mm)
    part = body - seat
    pieces = part.fragments()
    if not pieces or pieces[0].volume_mm3 <= 0.0:
        raise GeometryError(
            "Nothing of the donor stands over the recipient's skin.",
            remedy="Check the mirror plane or the landmarks, and which side the donor is on.",
        )
    return Fitted(part=pieces[0], seat=seat, findings=tuple(_crumbs(pieces)))


def _closed(sheet: Sheet, skin: DistanceField) -> Solid:
    """Return the outside closed by a wall along its rim and a cap below the skin."""
    foot = sheet.skin_mm[sheet.loop] - DEPTH_MM * sheet.skin_normals[sheet.loop]
    count, k = len(sheet.vertices), len(sheet.loop)
    ring, ahead = np.arange(k), np.roll(np.arange(k), -1)
    top, top_ahead, low, low_ahead = sheet.loop, sheet.loop[ahead], count + ring, count + ahead
    wall = np.concatenate(
        [np.column_stack([top, top_ahead, low_ahead]), np.column_stack([top, low_ahead, low])]
    )
    cap_vertices, cap_faces = _cap(foot, skin)
    vertices = np.concatenate([sheet.vertices, cap_vertices])
    faces = np.concatenate([sheet.faces, wall, cap_faces + count])
    try:
        return certify(ScanMesh(vertices=vertices, faces=faces))
    except NotASolidError as error:
        raise GeometryError(
            "The donor region could not be closed over the recipient's skin: its rim folds over itself, or "
            f"its outside lies below that skin. {error.message}",
            remedy="Choose a region whose rim runs once around the part, on smooth skin (by a loop, box or "
            "sphere), and check the mirror plane or the landmarks.",
        ) from error


def _cap(rim: FloatArray, skin: DistanceField) -> tuple[FloatArray, IntArray]:
    """Return a surface across the rim that lies below the skin everywhere."""
    flat = minimal_area_triangulation(rim)
    vertices, faces = refine_patch(rim, flat, np.full(len(rim), CAP_EDGE_MM), growth=_CAP_GROWTH)
    inner = np.arange(len(rim), len(vertices))
    for _ in range(_CAP_ROUNDS):
        foot = skin.at(vertices[inner])
        high = foot.distance_mm > -DEPTH_MM
        if not high.any():
            break
        vertices[inner[high]] = foot.points[high] - 1.05 * DEPTH_MM * foot.normals[high]
    deep = skin.at(vertices[faces].mean(axis=1)).distance_mm
    if deep.max() > 0.0:
        x, y, z = vertices[faces[int(deep.argmax())]].mean(axis=0)
        raise GeometryError(
            f"The recipient is too thin or too rugged under the part, near ({x:.0f}, {y:.0f}, {z:.0f}) mm: "
            f"{DEPTH_MM:g} mm below its skin lies outside it.",
            remedy="Close or smooth the recipient there, or choose another region.",
        )
    return vertices, faces


def _raised(recipient: Solid, sheet: Sheet, gap: float) -> Solid:
    """Return the recipient with the skin under and around the part moved outward."""
    mesh = recipient.mesh
    near = KDTree(sheet.skin_mm).query(mesh.vertices, distance_upper_bound=2.0 * _REACH_MM)[0]
    share = smooth_step(2.0 - np.minimum(near, 1e6) / _REACH_MM)
    normals = vertex_normals(mesh.vertices, mesh.faces)
    return certify(mesh.with_geometry(mesh.vertices + (gap * share)[:, None] * normals))


def _crumbs(pieces: list[Solid]) -> list[Finding]:
    lost = sum(piece.volume_mm3 for piece in pieces[1:])
    if lost <= _CRUMB_SHARE * pieces[0].volume_mm3:
        return []
    return [
        Finding(
            code="seat-pieces-dropped",
            severity=Severity.CAUTION,
            message=f"{len(pieces) - 1} separate pieces of {lost:.3g} mm³ were dropped from the part.",
            measured=lost,
            limit=_CRUMB_SHARE * pieces[0].volume_mm3,
            remedy="Look whether the recipient's skin cuts through the part; choose a smaller region.",
        )
    ]

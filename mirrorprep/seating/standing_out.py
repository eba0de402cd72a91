"""The automatic donor region: what stands out of the donor side with no counterpart on the recipient."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components

from mirrorprep.errors import GeometryError
from mirrorprep.geometry.geodesic import distance_along, smoothed
from mirrorprep.geometry.topology import edge_table
from mirrorprep.seating.deviation import vertex_areas
from mirrorprep.solid.finding import Finding, Severity
from mirrorprep.solid.mesh import ScanMesh

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

LEAST_STANDOFF_MM: Final = 0.5
NOISE_WIDTHS: Final = 4.0
MOST_STANDOFF_MM: Final = 4.0
SMOOTHING_MM: Final = 3.0
RIVAL_SHARE: Final = 0.5
UNSCANNED_SHARE: Final = 0.25
_COUNTED_MM: Final = 50.0


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Standoff:
    """How far each vertex of the placed donor stands out from the recipient, negative below its skin.

    Attributes
    ----------
    scanned_mm : (n,) float64
        From the skin as scanned; nan where it was not scanned.
    closed_mm : (n,) float64
        From the closed recipient, whose surface is a guess where it was not scanned.
    """

    scanned_mm: FloatArray
    closed_mm: FloatArray


def standing_out(
    mesh: ScanMesh, graph: csr_array, ways: csr_array, standoff: Standoff, grow_mm: float
) -> tuple[FloatArray, tuple[Finding, ...]]:
    """Return the distance from what stands out with no counterpart, grown, and what was noticed.

    Parameters
    ----------
    mesh : ScanMesh
        The donor scan.
    graph, ways : sparse array
        Its `edge_graph` and `travel_graph`.
    standoff : Standoff
        How far each vertex stands out.
    grow_mm : float
        How far the region is grown.

    Returns
    -------
    field : (n,) float64
        About the distance from the grown region, negative inside, smoothed.
    findings : tuple of Finding
        ``donor-region-ambiguous`` when several places stand out.

    Raises
    ------
    GeometryError
        If nothing stands out, or what stands out most does so where the recipient was not scanned.

    Notes
    -----
    What stands out by more than four times the usual difference of the sides (at least 0.5, at most 4 mm)
    forms pieces; the one with the largest area times standoff is taken.
    """
    known = np.nan_to_num(standoff.scanned_mm, nan=0.0)
    small = np.abs(standoff.scanned_mm[np.abs(standoff.scanned_mm) < MOST_STANDOFF_MM])
    scale = 1.4826 * float(np.median(small)) if len(small) else 0.0
    threshold = float(np.clip(NOISE_WIDTHS * scale, LEAST_STANDOFF_MM, MOST_STANDOFF_MM))
    labels, sizes = _pieces(mesh, graph, known, threshold)
    _refuse_unscanned(mesh, graph, standoff, threshold, float(sizes.max(initial=0.0)))
    if len(sizes) == 0:
        raise GeometryError(
            f"Nothing of the donor side stands out by more than {threshold:.2g} mm "
            f"(most: {known.max(initial=0.0):.2g} mm).",
            remedy="Check the mirror plane or the landmarks, or select the region by a loop, box or sphere.",
        )
    best = int(sizes.argmax())
    findings = _rivals(mesh, labels, sizes, best)
    limit = grow_mm + 6.0 * SMOOTHING_MM
    away = distance_along(ways, np.flatnonzero(labels == best), limit_mm=limit)
    inward = distance_along(ways, np.flatnonzero(labels != best), limit_mm=limit)
    field = np.minimum(away, limit) - np.minimum(inward, limit) - grow_mm
    near = np.isfinite(away)[mesh.faces].all(axis=1)
    used, faces = np.unique(mesh.faces[near], return_inverse=True)
    field[used] = smoothed(mesh.vertices[used], faces.reshape(-1, 3), field[used], radius_mm=SMOOTHING_MM)
    return field, findings


def _rivals(mesh: ScanMesh, labels: IntArray, sizes: FloatArray, best: int) -> tuple[Finding, ...]:
    rivals = [k for k in np.flatnonzero(sizes > RIVAL_SHARE * sizes[best]).tolist() if k != best]
    places = [mesh.vertices[labels == k].mean(axis=0) for k in (best, *rivals)]
    if not rivals:
        return ()
    return (
        Finding(
            code="donor-region-ambiguous",
            severity=Severity.CAUTION,
            message=f"{len(rivals) + 1} places stand out with no counterpart; the largest was taken.",
            where=tuple((float(x), float(y), float(z)) for x, y, z in places),
            measured=float(len(rivals) + 1),
            limit=1.0,
            remedy="State the region by a loop, box or sphere.",
        ),
    )


def _pieces(
    mesh: ScanMesh, graph: csr_array, standoff: FloatArray, threshold: float
) -> tuple[IntArray, FloatArray]:
    """Return the piece of each vertex that stands out, −1 for others, and each piece's weight."""
    out = standoff > threshold
    labels = components(graph, out)
    weight = vertex_areas(mesh) * np.minimum(standoff, _COUNTED_MM)
    return labels, np.bincount(labels[out], weight[out]).astype(np.float64)


def _refuse_unscanned(
    mesh: ScanMesh, graph: csr_array, standoff: Standoff, threshold: float, largest: float
) -> None:
    """Raise when a larger piece stands out over a gap of the recipient scan than anywhere else.

    What reaches the donor scan's own border, or is a quarter of it, lies beyond the recipient scan rather
    than over a gap in it.
    """
    unknown = np.where(np.isnan(standoff.scanned_mm), standoff.closed_mm, 0.0)
    labels, sizes = _pieces(mesh, graph, unknown, threshold)
    if len(sizes) == 0 or sizes.max() <= largest:
        return
    table = edge_table(mesh.faces)
    border = np.unique(labels[table.edges[table.open]])
    area = vertex_areas(mesh)
    for piece in np.argsort(-sizes):
        members = labels == piece
        beyond = piece in border or area[members].sum() > UNSCANNED_SHARE * area.sum()
        if sizes[piece] > largest and not beyond:
            x, y, z = mesh.vertices[members].mean(axis=0)
            raise GeometryError(
                f"The recipient scan is missing under the part of the donor that stands out by up to "
                f"{unknown[members].max():.0f} mm near ({x:.0f}, {y:.0f}, {z:.0f}) mm.",
                remedy="Scan the recipient side there, or select another region by a loop, box or sphere.",
            )


def components(graph: csr_array, members: BoolArray) -> IntArray:
    """Return a number per vertex for each connected set of members, −1 for others."""
    which = np.flatnonzero(members)
    labels = np.full(len(members), -1, dtype=np.int64)
    if len(which):
        labels[which] = connected_components(graph[which][:, which], directed=False)[1]
    return labels

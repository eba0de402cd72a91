"""The donor region: what is taken of the donor scan, cut out along one smooth loop."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components

from mirrorprep.errors import GeometryError
from mirrorprep.geometry.borders import border_loops
from mirrorprep.geometry.geodesic import distance_along, edge_graph, smoothed, travel_graph
from mirrorprep.geometry.level_cut import LevelCut, cut_below_zero
from mirrorprep.geometry.normals import doubled_areas
from mirrorprep.geometry.splitting import split_fans
from mirrorprep.geometry.topology import edge_table
from mirrorprep.seating.loop import loop_field
from mirrorprep.seating.settings import DonorRegion
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


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Donor:
    """The donor region, in the donor scan's coordinates.

    Attributes
    ----------
    cut : LevelCut
        The patch of surface.
    loop : (k,) int64
        Its rim, numbers of patch vertices, in the direction a filling must run.
    outside_mm : (n,) float64
        For each vertex of the scan about its distance from the rim, negative inside the region.
    findings : tuple of Finding
        What was noticed.
    """

    cut: LevelCut
    loop: IntArray
    outside_mm: FloatArray
    findings: tuple[Finding, ...]


def select_donor(
    mesh: ScanMesh, region: DonorRegion, *, standoff_mm: FloatArray | None = None, grow_mm: float = 3.0
) -> Donor:
    """Return the donor region, one patch of surface with one smooth rim.

    Parameters
    ----------
    mesh : ScanMesh
        Donor scan; may be open elsewhere.
    region : DonorRegion
        What to take.
    standoff_mm : (n,) float64, optional
        Signed distance of each vertex from the recipient, once placed; needed for an automatic region.
    grow_mm : float
        How far an automatic region is grown.

    Raises
    ------
    GeometryError
        If the region is empty, reaches the end of the scan, or its rim is not one loop.
    """
    graph, ways = edge_graph(mesh.vertices, mesh.faces), travel_graph(mesh.vertices, mesh.faces)
    findings: tuple[Finding, ...] = ()
    if region.kind == "auto":
        standoff = np.zeros(len(mesh.vertices)) if standoff_mm is None else standoff_mm
        values, findings = _standing_out(mesh, graph, ways, standoff, grow_mm)
    elif region.kind == "loop":
        values = loop_field(mesh, region.loop_mm, graph=graph)
    else:
        values = _shape_field(mesh.vertices, region)
    values = _one_patch(mesh, graph, values, region)
    return _cut_out(mesh, graph, ways, values, findings)


def _shape_field(points: FloatArray, region: DonorRegion) -> FloatArray:
    """Return the signed distance from a plane, box or sphere, negative in what is taken."""
    numbers = np.array(region.numbers, dtype=np.float64)
    if region.kind == "plane":
        return np.asarray(numbers[3] - points @ numbers[:3]) / float(np.linalg.norm(numbers[:3]))
    if region.kind == "sphere":
        return np.asarray(np.linalg.norm(points - numbers[:3], axis=1) - numbers[3])
    low, high = np.minimum(numbers[:3], numbers[3:]), np.maximum(numbers[:3], numbers[3:])
    beyond = np.maximum(low - points, points - high)
    outer = np.linalg.norm(np.maximum(beyond, 0.0), axis=1)
    return np.asarray(outer + np.minimum(beyond.max(axis=1), 0.0))


def _standing_out(
    mesh: ScanMesh, graph: csr_array, ways: csr_array, standoff: FloatArray, grow: float
) -> tuple[FloatArray, tuple[Finding, ...]]:
    """Return the distance from the grown region that stands out with no counterpart, smoothed."""
    small = np.abs(standoff[np.abs(standoff) < MOST_STANDOFF_MM])
    scale = 1.4826 * float(np.median(small)) if len(small) else 0.0
    threshold = float(np.clip(NOISE_WIDTHS * scale, LEAST_STANDOFF_MM, MOST_STANDOFF_MM))
    out = standoff > threshold
    labels = _components(graph, out)
    weight = _vertex_areas(mesh) * np.minimum(np.abs(standoff), 50.0)
    sizes = np.asarray(np.bincount(labels[out], weight[out], minlength=1), dtype=np.float64)
    if not out.any() or sizes.max() <= 0.0:
        raise GeometryError(
            f"Nothing of the donor side stands out by more than {threshold:.2g} mm "
            f"(most: {standoff.max(initial=0.0):.2g} mm).",
            remedy="Check the mirror plane or the landmarks, or select the region by a loop, box or sphere.",
        )
    best = int(sizes.argmax())
    findings = _rivals(mesh, labels, sizes, best)
    limit = grow + 6.0 * SMOOTHING_MM
    away = distance_along(ways, np.flatnonzero(labels == best), limit_mm=limit)
    inward = distance_along(ways, np.flatnonzero(labels != best), limit_mm=limit)
    field = np.minimum(away, limit) - np.minimum(inward, limit) - grow
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


def _components(graph: csr_array, members: BoolArray) -> IntArray:
    """Return a number per vertex for each connected set of members, −1 for others."""
    which = np.flatnonzero(members)
    labels = np.full(len(members), -1, dtype=np.int64)
    if len(which):
        labels[which] = connected_components(graph[which][:, which], directed=False)[1]
    return labels


def _vertex_areas(mesh: ScanMesh) -> FloatArray:
    area = np.linalg.norm(doubled_areas(mesh.vertices, mesh.faces), axis=1) / 6.0
    return np.bincount(mesh.faces.ravel(), np.repeat(area, 3), len(mesh.vertices)).astype(np.float64)


def _one_patch(mesh: ScanMesh, graph: csr_array, values: FloatArray, region: DonorRegion) -> FloatArray:
    """Return the field with one piece negative and without islands in it."""
    used = np.zeros(len(values), dtype=bool)
    used[mesh.faces] = True
    inside = (values < 0.0) & used
    if not inside.any() or (inside == used).all():
        share = 100.0 * float(inside.sum()) / max(int(used.sum()), 1)
        raise GeometryError(
            f"The donor region holds {share:.0f} % of the scan.",
            remedy="Check the place and the unit (mm) of the plane, box, sphere or loop.",
        )
    area = _vertex_areas(mesh)
    labels = _components(graph, inside)
    if region.near_mm is None:
        chosen = int(np.bincount(labels[inside], area[inside]).argmax())
    else:
        which = np.flatnonzero(inside)
        nearest = np.linalg.norm(mesh.vertices[which] - np.array(region.near_mm), axis=1).argmin()
        chosen = int(labels[which[nearest]])
    piece = labels == chosen
    rest = _components(graph, used & ~piece)
    touching = np.unique(rest[_beside(graph, piece) & (rest >= 0)])
    sizes = np.bincount(rest[rest >= 0], area[rest >= 0])
    main = touching[sizes[touching].argmax()]
    islands = [k for k in touching if k != main and sizes[k] < area[piece].sum()]
    kept = piece | np.isin(rest, islands)
    return np.where(kept, -np.abs(values) - 1e-12, np.abs(values) + 1e-12)


def _cut_out(
    mesh: ScanMesh, graph: csr_array, ways: csr_array, values: FloatArray, findings: tuple[Finding, ...]
) -> Donor:
    cut = cut_below_zero(mesh.vertices, mesh.faces, values)
    parted = split_fans(cut.vertices, cut.faces)
    number = np.concatenate([np.arange(len(cut.vertices)), parted.copy_of])
    cut = LevelCut(
        vertices=cut.vertices[number], faces=parted.faces, parent=cut.parent[number], share=cut.share[number]
    )
    _refuse_scan_end(mesh, cut)
    loops = border_loops(cut.faces, edge_table(cut.faces))
    if len(loops) != 1:
        raise GeometryError(
            f"The rim of the donor region consists of {len(loops)} loops, not one.",
            remedy="Mend the donor scan there, or choose a region whose rim lies on whole skin.",
        )
    rim = np.flatnonzero((values < 0.0) & _beside(graph, values >= 0.0))
    far = distance_along(ways, rim)
    inside = values < 0.0
    return Donor(
        cut=cut,
        loop=loops[0].corners,
        outside_mm=np.where(inside, -far, far),
        findings=findings,
    )


def _beside(graph: csr_array, members: BoolArray) -> BoolArray:
    """Return which vertices have a neighbour among the members."""
    reach = graph @ members.astype(np.float64)
    return np.asarray(reach > 0.0)


def _refuse_scan_end(mesh: ScanMesh, cut: LevelCut) -> None:
    """Raise when the patch reaches an open edge of the scan."""
    table = edge_table(mesh.faces)
    open_vertex = np.zeros(len(mesh.vertices), dtype=bool)
    open_vertex[table.edges[table.open]] = True
    old = open_vertex[cut.parent[:, 0]] & open_vertex[cut.parent[:, 1]]
    if old.any():
        x, y, z = cut.vertices[old].mean(axis=0)
        raise GeometryError(
            f"The donor scan ends inside the donor region, near ({x:.0f}, {y:.0f}, {z:.0f}) mm.",
            remedy="Mend the donor scan there, or choose a region inside the scanned skin.",
        )

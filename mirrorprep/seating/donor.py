"""The donor region: what is taken of the donor scan, cut out along one smooth loop."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from mirrorprep.errors import GeometryError, UsageError
from mirrorprep.geometry.borders import border_loops
from mirrorprep.geometry.geodesic import distance_along, edge_graph, travel_graph
from mirrorprep.geometry.level_cut import LevelCut, cut_below_zero
from mirrorprep.geometry.splitting import split_fans
from mirrorprep.geometry.topology import edge_table
from mirrorprep.seating.deviation import vertex_areas
from mirrorprep.seating.loop import loop_field
from mirrorprep.seating.settings import DonorRegion
from mirrorprep.seating.standing_out import Standoff, components, standing_out
from mirrorprep.solid.finding import Finding
from mirrorprep.solid.mesh import ScanMesh

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


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
    mesh: ScanMesh, region: DonorRegion, *, standoff: Standoff | None = None, grow_mm: float = 3.0
) -> Donor:
    """Return the donor region, one patch of surface with one smooth rim.

    Parameters
    ----------
    mesh : ScanMesh
        Donor scan; may be open elsewhere.
    region : DonorRegion
        What to take.
    standoff : Standoff, optional
        How far each vertex stands out from the recipient, once placed; needed for an automatic region.
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
        if standoff is None:
            raise UsageError("An automatic region needs the standoff.", remedy="Place the donor first.")
        values, findings = standing_out(mesh, graph, ways, standoff, grow_mm)
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
    area = vertex_areas(mesh)
    labels = components(graph, inside)
    if region.near_mm is None:
        chosen = int(np.bincount(labels[inside], area[inside]).argmax())
    else:
        which = np.flatnonzero(inside)
        nearest = np.linalg.norm(mesh.vertices[which] - np.array(region.near_mm), axis=1).argmin()
        chosen = int(labels[which[nearest]])
    piece = labels == chosen
    rest = components(graph, used & ~piece)
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

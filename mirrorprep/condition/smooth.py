"""Gentle smoothing on request: noise down, edges kept, no vertex moved further than stated."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from mirrorprep.errors import UsageError
from mirrorprep.geometry.mass_properties import signed_volume_mm3
from mirrorprep.geometry.normal_filter import smoothed_vertices
from mirrorprep.geometry.normals import vertex_normals
from mirrorprep.geometry.self_intersection import meeting_pairs
from mirrorprep.geometry.surface_quality import noise_sd_mm, rings
from mirrorprep.geometry.topology import edge_table
from mirrorprep.progress import SILENT, Progress
from mirrorprep.solid.certify import certify, examine
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.solid import Solid

FloatArray = NDArray[np.float64]

_TRIES: Final = 4


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class SmoothResult:
    """A smoothed surface and how far it moved.

    Attributes
    ----------
    mesh : ScanMesh
        The same triangles on moved vertices.
    solid : Solid or None
        The certified solid, if the mesh is one.
    max_displacement_mm, rms_displacement_mm : float
        Over all vertices in use.
    noise_before_mm, noise_after_mm : float or None
        Estimated standard deviation along the normal.
    volume_change_mm3 : float or None
        None unless the mesh is closed.
    """

    mesh: ScanMesh
    solid: Solid | None
    max_displacement_mm: float
    rms_displacement_mm: float
    noise_before_mm: float | None
    noise_after_mm: float | None
    volume_change_mm3: float | None

    def as_dict(self) -> dict[str, object]:
        """Return plain data for JSON."""
        left_out = ("mesh", "solid")
        return {name: getattr(self, name) for name in self.__slots__ if name not in left_out}


def smooth(
    scan: ScanMesh | Solid,
    *,
    most_mm: float,
    edge_angle_deg: float = 20.0,
    progress: Progress = SILENT,
) -> SmoothResult:
    """Return the surface with its noise reduced and its edges kept.

    Parameters
    ----------
    scan : ScanMesh or Solid
        Consistently oriented; vertices on open edges stay.
    most_mm : float
        No vertex moves further; about three times the noise is enough.
    edge_angle_deg : float
        Faces at much more than this angle to each other are taken for an edge and not evened out.
    progress : Progress
        Told about each part.

    Raises
    ------
    UsageError
        If a value is out of range.

    Notes
    -----
    Where triangles would come to meet, the vertices around go back. Method and sources:
    `mirrorprep.geometry.normal_filter`.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import sphere
    >>> result = smooth(sphere(20.0), most_mm=0.05)
    >>> result.max_displacement_mm <= 0.05, result.solid is not None
    (True, True)
    """
    if not 0.0 < most_mm < np.inf:
        raise UsageError(f"most_mm is {most_mm:g}.", remedy="Give the largest allowed movement in mm.")
    if not 0.0 < edge_angle_deg <= 90.0:
        raise UsageError(f"edge_angle_deg is {edge_angle_deg:g}.", remedy="Give more than 0 and up to 90.")
    mesh = scan.mesh if isinstance(scan, Solid) else scan
    table = edge_table(mesh.faces)
    fixed = np.zeros(len(mesh.vertices), dtype=bool)
    fixed[table.edges[table.uses != 2]] = True
    progress.step("smoothing", 0.0)
    before = _pairs(mesh.vertices, mesh)
    for number in range(_TRIES):
        moved = smoothed_vertices(
            mesh.vertices, mesh.faces, fixed=fixed, edge_angle_deg=edge_angle_deg, most_mm=most_mm
        )
        progress.step("looking for new crossings", 0.4 + 0.1 * number)
        new = _pairs(moved, mesh) - before
        if not new:
            break
        fixed[mesh.faces[np.array(sorted(new))]] = True
    else:
        moved = mesh.vertices
    progress.step("smoothed", 1.0)
    return _result(mesh, mesh.with_geometry(moved))


def _pairs(vertices: FloatArray, mesh: ScanMesh) -> set[tuple[int, int]]:
    found = meeting_pairs(vertices, mesh.faces).all
    return {(int(one), int(other)) for one, other in found}


def _result(before: ScanMesh, after: ScanMesh) -> SmoothResult:
    used = np.bincount(before.faces.ravel(), minlength=len(before.vertices)) > 0
    way = np.linalg.norm(after.vertices - before.vertices, axis=1)[used]
    certificate = examine(after)
    change = None
    if certificate.closed:
        change = certificate.signed_volume_mm3 - signed_volume_mm3(before.vertices, before.faces)
    return SmoothResult(
        mesh=after,
        solid=certify(after) if certificate.solid else None,
        max_displacement_mm=float(way.max(initial=0.0)),
        rms_displacement_mm=float(np.sqrt((way**2).mean())) if len(way) else 0.0,
        noise_before_mm=_noise(before),
        noise_after_mm=_noise(after),
        volume_change_mm3=change,
    )


def _noise(mesh: ScanMesh) -> float | None:
    table = edge_table(mesh.faces)
    around = rings(table.edges, table.open | table.non_manifold, len(mesh.vertices))
    return noise_sd_mm(mesh.vertices, vertex_normals(mesh.vertices, mesh.faces), around)

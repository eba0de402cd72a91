"""Certification: the one way from a mesh that promises nothing to a Solid."""

from dataclasses import dataclass

import manifold3d
import numpy as np

from mirrorprep.errors import NotASolidError
from mirrorprep.geometry.mass_properties import signed_volume_mm3
from mirrorprep.geometry.topology import edge_table
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.solid import Solid


@dataclass(frozen=True, slots=True, kw_only=True)
class Certificate:
    """What stands between a mesh and a solid; all zero and a positive volume for a solid.

    Attributes
    ----------
    open_edges, non_manifold_edges, inconsistent_edges, degenerate_faces : int
        Edges of one triangle; of more than two; of two that run the same way; triangles that repeat a
        vertex index.
    signed_volume_mm3 : float
        Negative for a surface that is inside out; meaningless when edges are open.
    triangles : int
        Number of triangles.
    """

    open_edges: int
    non_manifold_edges: int
    inconsistent_edges: int
    degenerate_faces: int
    signed_volume_mm3: float
    triangles: int

    @property
    def closed(self) -> bool:
        """True when every edge is shared by exactly two triangles in opposite order."""
        faults = self.open_edges + self.non_manifold_edges + self.inconsistent_edges + self.degenerate_faces
        return self.triangles > 0 and faults == 0

    @property
    def solid(self) -> bool:
        """True when closed and right side out."""
        return self.closed and self.signed_volume_mm3 > 0.0

    @property
    def reason(self) -> str:
        """Why this is not a solid, as one sentence; empty for a solid."""
        if self.solid:
            return ""
        if self.triangles == 0:
            return "The mesh has no triangles."
        counts = {
            "open edges": self.open_edges,
            "edges of more than two triangles": self.non_manifold_edges,
            "edges whose triangles run the same way": self.inconsistent_edges,
            "triangles that repeat a vertex": self.degenerate_faces,
        }
        found = [f"{number} {name}" for name, number in counts.items() if number]
        if found:
            return f"The surface is not closed: {', '.join(found)} (a solid has 0)."
        return f"The surface is inside out: its volume is {self.signed_volume_mm3:.6g} mm³."


def examine(mesh: ScanMesh) -> Certificate:
    """Return the certificate of a mesh by vertex index, as it stands, without welding.

    The rule is that of the 3MF core specification 1.4, sections 4.1, 4.1.3 and 4.1.4.
    """
    table = edge_table(mesh.faces)
    f = mesh.faces
    degenerate = (f[:, 0] == f[:, 1]) | (f[:, 1] == f[:, 2]) | (f[:, 2] == f[:, 0])
    return Certificate(
        open_edges=int(table.open.sum()),
        non_manifold_edges=int(table.non_manifold.sum()),
        inconsistent_edges=int(table.inconsistent.sum()),
        degenerate_faces=int(degenerate.sum()),
        signed_volume_mm3=signed_volume_mm3(mesh.vertices, mesh.faces),
        triangles=len(mesh.faces),
    )


def certify(mesh: ScanMesh) -> Solid:
    """Return the mesh as a `Solid`, or say why it is none.

    Parameters
    ----------
    mesh : ScanMesh
        Taken as it stands: no welding, no mending.

    Returns
    -------
    Solid
        Closed, outward-oriented, accepted by the solid kernel.

    Raises
    ------
    NotASolidError
        With the counts of what is wrong.

    Notes
    -----
    Self-intersections are not excluded; `mirrorprep.check` counts them.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import box
    >>> certify(box([1, 2, 3]).mesh).volume_mm3
    6.0
    """
    certificate = examine(mesh)
    if not certificate.solid:
        raise NotASolidError(certificate.reason, remedy="Mend the scan first ('mirrorprep mend').")
    raw = manifold3d.Mesh64(
        vert_properties=np.array(mesh.vertices, dtype=np.float64),
        tri_verts=np.array(mesh.faces, dtype=np.uint64),
    )
    body = manifold3d.Manifold(raw)
    if body.status() != manifold3d.Error.NoError:
        raise NotASolidError(
            f"The solid kernel refuses the mesh ('{body.status().name}').",
            remedy="Mend the scan first ('mirrorprep mend').",
        )
    return Solid(body)

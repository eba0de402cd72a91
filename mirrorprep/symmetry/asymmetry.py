"""Left-right difference of a scan about a mirror plane."""

import numpy as np
from numpy.typing import NDArray

from mirrorprep.geometry.normals import doubled_areas, unit, vertex_normals
from mirrorprep.geometry.open_border import open_edges
from mirrorprep.geometry.reflection import reflect
from mirrorprep.geometry.surface_index import SurfaceIndex
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.plane import Plane
from mirrorprep.solid.solid import Solid

FloatArray = NDArray[np.float64]

REACH = 0.05
FACING = 0.0


def asymmetry_map(scan: ScanMesh | Solid, plane: Plane) -> FloatArray:
    """Return by how much each vertex stands out beyond (or, negative, behind) the mirrored surface.

    Parameters
    ----------
    scan : ScanMesh or Solid
        The scan.
    plane : Plane
        Its mirror plane.

    Returns
    -------
    (n,) float64
        Signed distance in mm from the mirror image of the surface to each vertex, positive outside; nan
        where the other side is not known: the closest place lies on an open edge, faces the other way, or
        is farther than 5 % of the diagonal.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import box
    >>> plane = Plane(normal=[1, 0, 0], offset_mm=0)
    >>> round(float(asymmetry_map(box([2, 4, 6], center_mm=[0.1, 0, 0]), plane).max()), 6)
    0.2
    """
    mesh = scan.mesh if isinstance(scan, Solid) else scan
    image = reflect(mesh.vertices, plane.normal, plane.offset_mm)
    normals = vertex_normals(mesh.vertices, mesh.faces)
    image_normals = reflect(normals, plane.normal, 0.0)
    index = SurfaceIndex(mesh.vertices, mesh.faces)
    found = index.closest(image, reach_mm=REACH * mesh.diagonal_mm)
    away = image - found.points
    surface_normals = unit(doubled_areas(mesh.vertices, mesh.faces))[found.face]
    side = np.einsum("ni,ni->n", away, surface_normals)
    same = np.einsum("ni,ni->n", image_normals, surface_normals) > FACING
    signed = np.where(side < 0.0, -found.distance_mm, found.distance_mm)
    known = same & (found.face >= 0) & ~_on_open_edge(mesh, found.points, found.face)
    return np.asarray(np.where(known, signed, np.nan))


def _on_open_edge(mesh: ScanMesh, points: FloatArray, face: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Return which points of faces lie on an open edge of their face."""
    answer = np.zeros(len(points), dtype=bool)
    edges = open_edges(mesh.vertices, mesh.faces)
    is_open = np.zeros(mesh.faces.shape, dtype=bool)
    is_open[edges[:, 0], edges[:, 1]] = True
    for corner in range(3):
        start = mesh.vertices[mesh.faces[face, corner]]
        along = mesh.vertices[mesh.faces[face, (corner + 1) % 3]] - start
        off = np.linalg.norm(np.cross(points - start, unit(along)), axis=1)
        answer |= is_open[face, corner] & (off < 1e-9 * mesh.diagonal_mm)
    return answer

"""Left-right difference of a scan about a mirror plane."""

import numpy as np
from numpy.typing import NDArray

from mirrorprep.geometry.normals import vertex_normals
from mirrorprep.geometry.reflection import reflect
from mirrorprep.geometry.signed_distance import DistanceField
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
    image_normals = reflect(vertex_normals(mesh.vertices, mesh.faces), plane.normal, 0.0)
    foot = DistanceField(mesh.vertices, mesh.faces).at(image, reach_mm=REACH * mesh.diagonal_mm)
    same = np.einsum("ni,ni->n", image_normals, foot.normals) > FACING
    return np.asarray(np.where(foot.known & same, foot.distance_mm, np.nan))

"""How far a changed surface lies from the one it was made of."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from mirrorprep.geometry.surface_index import SurfaceIndex
from mirrorprep.solid.mesh import ScanMesh

FloatArray = NDArray[np.float64]

_MOST_POINTS: Final = 200_000


@dataclass(frozen=True, slots=True, kw_only=True)
class SurfaceDeviation:
    """Distances between two surfaces, taken at the vertices of both.

    Attributes
    ----------
    max_mm, rms_mm : float
        Largest and root-mean-square distance.
    points : int
        At how many vertices.
    """

    max_mm: float
    rms_mm: float
    points: int


def deviation_between(one: ScanMesh, other: ScanMesh) -> SurfaceDeviation:
    """Return the distances of each surface's vertices from the other surface.

    At most 200 000 vertices of each are taken, evenly over the list.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import box
    >>> far = deviation_between(box([2, 2, 2]).mesh, box([2, 2, 2.5]).mesh)
    >>> round(far.max_mm, 9)
    0.25
    """
    distances = [
        SurfaceIndex(base.vertices, base.faces).closest(_points(mesh)).distance_mm
        for base, mesh in ((one, other), (other, one))
    ]
    both = np.concatenate(distances)
    return SurfaceDeviation(
        max_mm=float(both.max()), rms_mm=float(np.sqrt((both**2).mean())), points=len(both)
    )


def _points(mesh: ScanMesh) -> FloatArray:
    used = np.flatnonzero(np.bincount(mesh.faces.ravel(), minlength=len(mesh.vertices)))
    return np.asarray(mesh.vertices[used[:: max(1, -(-len(used) // _MOST_POINTS))]])

"""Normals for drawing: smooth over gentle bends, broken at creases, untroubled by slivers."""

import numpy as np
from numpy.typing import NDArray

from mirrorprep.geometry.normals import doubled_areas, unit

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_MOST_NEIGHBOURS = 128


def corner_normals(vertices: FloatArray, faces: IntArray, *, crease_deg: float = 40.0) -> FloatArray:
    """Return a unit normal for each corner of each face, shape (3 m, 3).

    Parameters
    ----------
    vertices, faces : (n, 3) float64, (m, 3) int64
        The surface.
    crease_deg : float
        Faces that meet at a vertex with a larger angle between them do not smooth each other.

    Returns
    -------
    (3 m, 3) float64
        Area-weighted means of the normals of the faces around the corner's vertex; a zero vector for a
        face without area.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import box
    >>> cube = box([1, 1, 1]).mesh
    >>> bool((abs(corner_normals(cube.vertices, cube.faces)).max(axis=1) == 1).all())
    True
    """
    weighted = doubled_areas(vertices, faces)
    order = np.argsort(faces.ravel(), kind="stable")
    owner = faces.ravel()[order]
    face = order // 3
    direction = unit(weighted)
    total = weighted[face].copy()
    limit = np.cos(np.radians(crease_deg))
    first = np.arange(len(owner))
    for step in range(1, _MOST_NEIGHBOURS):
        first = first[first + step < len(owner)]
        first = first[owner[first] == owner[first + step]]
        if len(first) == 0:
            break
        a, b = face[first], face[first + step]
        gentle = np.einsum("ij,ij->i", direction[a], direction[b]) > limit
        one, other = first[gentle], first[gentle] + step
        total[one] += weighted[b[gentle]]
        total[other] += weighted[a[gentle]]
    result = np.empty_like(total)
    result[order] = total
    return unit(result)

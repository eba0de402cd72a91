"""Normals that run smoothly over facets and break at creases."""

from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from mirrorprep.geometry.normals import doubled_areas, unit

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

CREASE_DEG: Final = 30.0


def crease_normals(
    vertices: FloatArray,
    faces: IntArray,
    face: IntArray,
    shares: FloatArray,
    *,
    crease_deg: float = CREASE_DEG,
) -> FloatArray:
    """Return unit normals at places on faces, as the curved surface has them that the facets stand for.

    Parameters
    ----------
    vertices, faces : (n, 3) float64, (m, 3) int64
        The mesh.
    face : (k,) int64
        Face of each place.
    shares : (k, 3) float64
        Barycentric coordinates on it.
    crease_deg : float
        Faces around a corner that are turned farther than this do not count there.

    Returns
    -------
    (k, 3) float64
        Normals at the three corners interpolated; at a corner the mean, by area, of the faces around it
        that are turned by less than a crease from the place's own face.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import box
    >>> cube = box([2, 2, 2]).mesh
    >>> normals = crease_normals(cube.vertices, cube.faces, np.arange(12), np.full((12, 3), 1 / 3))
    >>> bool(np.isclose(np.abs(normals).max(axis=1), 1.0).all())
    True
    """
    doubled = doubled_areas(vertices, faces)
    own, area = unit(doubled), np.linalg.norm(doubled, axis=1)
    which, place = np.unique(face, return_inverse=True)
    corners = faces.ravel()
    around = csr_array(
        (np.ones(len(corners)), (corners, np.repeat(np.arange(len(faces)), 3))),
        shape=(len(vertices), len(faces)),
    )
    smooth = np.zeros((len(which), 3, 3))
    for k in range(3):
        ring = around[faces[which, k]].tocoo()
        row, other = ring.coords
        turned = np.einsum("ij,ij->i", own[which[row]], own[other])
        weight = np.where(turned > np.cos(np.radians(crease_deg)), area[other], 0.0)
        for axis in range(3):
            smooth[:, k, axis] = np.bincount(row, weight * own[other, axis], len(which))
    return unit(np.einsum("ik,ikj->ij", shares, unit(smooth)[place]))

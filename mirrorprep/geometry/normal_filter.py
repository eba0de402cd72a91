"""Smoothing a surface by its normals, so that edges stay edges."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from mirrorprep.geometry.normals import doubled_areas, unit
from mirrorprep.geometry.orienting import paired_half_edges

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

_NORMAL_ROUNDS: Final = 8
_VERTEX_ROUNDS: Final = 15


def smoothed_vertices(
    vertices: FloatArray, faces: IntArray, *, fixed: BoolArray, edge_angle_deg: float, most_mm: float
) -> FloatArray:
    """Return vertices moved so that the faces follow their smoothed normals.

    Parameters
    ----------
    vertices, faces : (n, 3) float64, (m, 3) int64
        Consistently oriented.
    fixed : (n,) bool
        Vertices that stay.
    edge_angle_deg : float
        Neighbouring faces at much more than this angle do not even each other out.
    most_mm : float
        No vertex moves further.

    Returns
    -------
    (n, 3) float64

    Notes
    -----
    Bilateral filtering of the face normals (Y. Zheng, H. Fu, O. K.-C. Au and C.-L. Tai, "Bilateral normal
    filtering for mesh denoising", IEEE Transactions on Visualization and Computer Graphics 17 (2011)
    1521-1530), then vertices moved towards it (X. Sun, P. L. Rosin, R. R. Martin and F. C. Langbein, "Fast
    and effective feature-preserving mesh denoising", same journal 13 (2007) 925-938).

    Examples
    --------
    >>> bump = np.array([[0.0, 0, 0], [2, 0, 0], [2, 2, 0], [0, 2, 0], [1, 1, 0.1]])
    >>> roof = np.array([[0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]])
    >>> rim = np.array([True, True, True, True, False])
    >>> flat = smoothed_vertices(bump, roof, fixed=rim, edge_angle_deg=30.0, most_mm=1.0)
    >>> bool(flat[4, 2] < 0.05)
    True
    """
    normals = _filtered_normals(vertices, faces, edge_angle_deg)
    corners = faces.ravel()
    weight = np.maximum(np.bincount(corners, minlength=len(vertices)), 1)
    moved = vertices.copy()
    for _ in range(_VERTEX_ROUNDS):
        middle = moved[faces].mean(axis=1)
        height = np.einsum("fkj,fj->fk", middle[:, None] - moved[faces], normals)
        pull = (height[:, :, None] * normals[:, None]).reshape(-1, 3)
        step = np.stack([np.bincount(corners, pull[:, k], len(vertices)) for k in range(3)], axis=1)
        moved = moved + np.where(fixed[:, None], 0.0, step / weight[:, None])
        way = moved - vertices
        length = np.linalg.norm(way, axis=1, keepdims=True)
        moved = vertices + way * np.minimum(1.0, (1.0 - 1e-9) * most_mm / np.maximum(length, 1e-300))
    return np.asarray(np.where(fixed[:, None], vertices, moved))


def _filtered_normals(vertices: FloatArray, faces: IntArray, edge_angle_deg: float) -> FloatArray:
    cross = doubled_areas(vertices, faces)
    area = np.linalg.norm(cross, axis=1)
    normals = unit(cross)
    one, other, _ = (half // 3 for half in paired_half_edges(faces))
    middle = vertices[faces].mean(axis=1)
    square = ((middle[one] - middle[other]) ** 2).sum(axis=1)
    near = np.exp(-square / (2.0 * max(float(square.mean()), 1e-300)))
    spread = 2.0 * np.sin(np.radians(edge_angle_deg) / 2.0)
    rows, columns = np.concatenate([one, other]), np.concatenate([other, one])
    for _ in range(_NORMAL_ROUNDS):
        difference = ((normals[one] - normals[other]) ** 2).sum(axis=1)
        weight = np.tile(near * np.exp(-difference / (2.0 * spread**2)), 2) * area[columns]
        total = [np.bincount(rows, weight * normals[columns, k], len(faces)) for k in range(3)]
        normals = unit(np.stack(total, axis=1) + area[:, None] * normals)
    return normals

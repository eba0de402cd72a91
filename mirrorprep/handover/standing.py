"""How a scan stands: which way is up and where its front is, guessed from its shape for pictures alone."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from mirrorprep.geometry.normals import doubled_areas, unit
from mirrorprep.geometry.topology import edge_table
from mirrorprep.handover.bodies import thinned, three
from mirrorprep.handover.panel import View
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.plane import Plane
from mirrorprep.solid.primitives import frame_along

FloatArray = NDArray[np.float64]

_FLAT_SHARE: Final = 0.02
_BORDER_SHARE: Final = 0.05
_LOOKS: Final = 16
_FACING: Final = 0.5
_ENOUGH_TRIANGLES: Final = 60_000


def standing_view(mesh: ScanMesh, plane: Plane | None = None) -> View:
    """Return the view from the front with the scan upright.

    Parameters
    ----------
    mesh : ScanMesh
        The scan.
    plane : Plane, optional
        Its mirror plane; the eye then stands in it.

    Returns
    -------
    View
        Up is away from the largest opening or, without one, from the largest flat face, and z where there
        is neither. The front is the side with the strongest relief. Pictures alone depend on it.
    """
    mesh, _ = thinned(mesh, most=_ENOUGH_TRIANGLES)
    up = _upward(mesh)
    if plane is not None:
        inside = up - (up @ plane.normal) * plane.normal
        up = inside if np.linalg.norm(inside) > 0.3 else frame_along(plane.normal)[:, 1]
        up = up / np.linalg.norm(up)
        looks = [np.cross(up, plane.normal), np.cross(plane.normal, up)]
    else:
        frame = frame_along(up)
        turns = 2 * np.pi * np.arange(_LOOKS) / _LOOKS
        looks = [np.cos(turn) * frame[:, 0] + np.sin(turn) * frame[:, 1] for turn in turns]
    strengths = relief(mesh, np.array(looks))
    return View(toward=three(looks[int(np.argmax(strengths))]), up=three(up))


def relief(mesh: ScanMesh, directions: FloatArray) -> FloatArray:
    """Return how strongly the surface that faces each of (k, 3) unit directions bends, in radians per mm.

    The sum of |bend| × length over the edges between two facing faces, divided by the facing area.
    """
    weighted = doubled_areas(mesh.vertices, mesh.faces)
    normals, areas = unit(weighted), 0.5 * np.linalg.norm(weighted, axis=1)
    table = edge_table(mesh.faces)
    owner = np.argsort(table.of_face.ravel(), kind="stable") // 3
    start = np.concatenate([[0], np.cumsum(table.uses)[:-1]])[table.uses == 2]
    one, other = owner[start], owner[start + 1]
    cosine = np.einsum("ij,ij->i", normals[one], normals[other])
    ends = mesh.vertices[table.edges[table.uses == 2]]
    bend = np.arccos(np.clip(cosine, -1, 1)) * np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
    facing = normals @ directions.T > _FACING
    total = bend @ (facing[one] & facing[other])
    return np.asarray(total / np.maximum(areas @ facing, 1e-12))


def _upward(mesh: ScanMesh) -> FloatArray:
    opening = _opening(mesh)
    if opening is not None:
        return -opening
    flat = _largest_flat(mesh)
    return np.array([0.0, 0.0, 1.0]) if flat is None else -flat


def _opening(mesh: ScanMesh) -> FloatArray | None:
    """Return the direction from the middle of the scan to that of its border, when it has a wide one."""
    table = edge_table(mesh.faces)
    border = table.edges[table.open]
    if len(border) == 0:
        return None
    ends = mesh.vertices[border]
    lengths = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
    if lengths.sum() < _BORDER_SHARE * np.pi * mesh.diagonal_mm:
        return None
    middle = np.average(ends.mean(axis=1), axis=0, weights=lengths + 1e-300)
    return _pointing(middle - mesh.bounds_mm.mean(axis=0), mesh.diagonal_mm)


def _largest_flat(mesh: ScanMesh) -> FloatArray | None:
    """Return the normal of the largest plane patch, when it is a fair share of the surface."""
    weighted = doubled_areas(mesh.vertices, mesh.faces)
    areas, normals = np.linalg.norm(weighted, axis=1), unit(weighted)
    offsets = np.einsum("ij,ij->i", normals, mesh.triangles.mean(axis=1))
    steps = np.column_stack([np.round(normals * 50), np.round(offsets / (0.01 * mesh.diagonal_mm))])
    _, patch = np.unique(steps.astype(np.int64), axis=0, return_inverse=True)
    sums = np.bincount(patch.ravel(), weights=areas)
    best = int(np.argmax(sums))
    if sums[best] < _FLAT_SHARE * areas.sum():
        return None
    return _pointing(weighted[patch.ravel() == best].sum(axis=0), 0.0)


def _pointing(vector: FloatArray, size: float) -> FloatArray | None:
    length = float(np.linalg.norm(vector))
    return None if length <= 0.1 * size else np.asarray(vector / length)

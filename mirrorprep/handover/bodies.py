"""From the project's nouns to bodies that can be drawn."""

from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mirrorprep.geometry.normals import doubled_areas
from mirrorprep.handover.palette import PLANE, ColorMap
from mirrorprep.handover.panel import Body, View
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.plane import Plane
from mirrorprep.solid.primitives import frame_along
from mirrorprep.solid.solid import Solid

FloatArray = NDArray[np.float64]

DISPLAY_TRIANGLES: Final = 400_000
"""Meshes with more triangles are thinned before they are drawn."""


def surface(shape: ScanMesh | Solid) -> ScanMesh:
    """Return the mesh of a shape."""
    return shape.mesh if isinstance(shape, Solid) else shape


def body(shape: ScanMesh | Solid, color: str, **options: float | bool) -> Body:
    """Return a shape as a body of one colour."""
    mesh = surface(shape)
    return Body(vertices=mesh.vertices, faces=mesh.faces, color=color, **options)  # type: ignore[arg-type]


def mapped_body(mesh: ScanMesh, values: ArrayLike, color_map: ColorMap, span: tuple[float, float]) -> Body:
    """Return a mesh coloured by one value per vertex or per face."""
    colors = color_map.colors(values, *span)
    numbers = np.asarray(values, dtype=np.float64)
    shares = None
    if color_map.diverging and len(numbers) == len(mesh.vertices):
        shares = np.where(np.isfinite(numbers), (numbers - span[0]) / (span[1] - span[0]), 1.0)
    return Body(vertices=mesh.vertices, faces=mesh.faces, colors=colors, shares=shares)


def thinned(mesh: ScanMesh, *, most: int = DISPLAY_TRIANGLES) -> tuple[ScanMesh, NDArray[np.int64]]:
    """Return a mesh of at most `most` triangles for display, and the old vertex nearest to each new one.

    Vertices in the same cell of a regular grid become one: quick, and good enough where a cell is about
    a pixel. A mesh that is small enough comes back as it is.
    """
    everything = np.arange(len(mesh.vertices))
    if len(mesh.faces) <= most:
        return mesh, everything
    low = mesh.bounds_mm[0]
    area = 0.5 * float(np.linalg.norm(doubled_areas(mesh.vertices, mesh.faces), axis=1).sum())
    cell = float(np.sqrt(2.2 * area / most))
    while True:
        small, kept = _clustered(mesh, low, cell)
        if len(small.faces) <= most:
            return small, kept
        cell *= 1.15


def _clustered(mesh: ScanMesh, low: FloatArray, cell: float) -> tuple[ScanMesh, NDArray[np.int64]]:
    keys = np.floor((mesh.vertices - low) / cell).astype(np.int64)
    spans = keys.max(axis=0) + 1
    flat = (keys[:, 0] * spans[1] + keys[:, 1]) * spans[2] + keys[:, 2]
    _, first, group = np.unique(flat, return_index=True, return_inverse=True)
    counts = np.bincount(group)[:, None]
    means = (
        np.stack([np.bincount(group, weights=mesh.vertices[:, axis]) for axis in range(3)], axis=1) / counts
    )
    faces = group[mesh.faces]
    kept = (faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 2] != faces[:, 0])
    colors = None if mesh.colors is None else mesh.colors[first]
    return replace(mesh, vertices=means, faces=faces[kept], colors=colors), first


def colored_body(mesh: ScanMesh, color: str) -> Body:
    """Return a scan in its own vertex colours, or in one colour when it has none."""
    colors = None if mesh.colors is None else np.ascontiguousarray(mesh.colors[:, :3])
    return Body(vertices=mesh.vertices, faces=mesh.faces, color=color, colors=colors)


def plane_sheet(rim: FloatArray, *, color: str = PLANE, opacity: float = 0.28) -> Body:
    """Return the rectangle inside a rim (see `plane_rim`), to see through."""
    faces = np.array([[0, 1, 2], [0, 2, 3]])
    return Body(vertices=rim[:4], faces=faces, color=color, opacity=opacity, outlined=False)


def plane_rim(plane: Plane, points: FloatArray, *, up: ArrayLike = (0.0, 0.0, 1.0)) -> FloatArray:
    """Return the closed outline, shape (5, 3), of a rectangle of the plane that reaches beyond the points.

    Its sides run along `up` as far as the plane allows.
    """
    upward = np.asarray(up, dtype=np.float64)
    upward = upward - (upward @ plane.normal) * plane.normal
    if np.linalg.norm(upward) < 0.1:
        upward = frame_along(plane.normal)[:, 1]
    upward = upward / np.linalg.norm(upward)
    axes = np.column_stack([np.cross(upward, plane.normal), upward])
    across = points @ axes
    low, high = across.min(axis=0), across.max(axis=0)
    reach = 0.07 * float((high - low).max())
    (u0, v0), (u1, v1) = low - reach, high + reach
    square = np.array([[u0, v0], [u1, v0], [u1, v1], [u0, v1], [u0, v0]])
    return np.asarray(square @ axes.T + plane.offset_mm * plane.normal)


def cut_lines(mesh: ScanMesh, plane: Plane) -> FloatArray:
    """Return the segments in which the plane cuts the faces, shape (k, 2, 3)."""
    distance = plane.distance_mm(mesh.vertices)
    distance = np.where(distance == 0.0, 1e-12, distance)
    above = distance[mesh.faces] > 0
    crossed = mesh.faces[above.any(axis=1) & ~above.all(axis=1)]
    if len(crossed) == 0:
        return np.zeros((0, 2, 3))
    found = []
    for a, b in ((0, 1), (1, 2), (2, 0)):
        start, stop = crossed[:, a], crossed[:, b]
        crosses = (distance[start] > 0) != (distance[stop] > 0)
        share = np.where(crosses, distance[start] / (distance[start] - distance[stop] + ~crosses), np.nan)
        found.append(mesh.vertices[start] + share[:, None] * (mesh.vertices[stop] - mesh.vertices[start]))
    points = np.stack(found, axis=1)
    cut = ~np.isnan(points[:, :, 0])
    return np.asarray(points[cut].reshape(-1, 2, 3))


def turned(view: View, *, right_deg: float = 0.0, up_deg: float = 0.0) -> View:
    """Return the view of an eye that went to the right and up around the object."""
    right, up, toward = view.axes()
    a, e = np.radians(right_deg), np.radians(up_deg)
    eye = np.cos(e) * (np.cos(a) * toward + np.sin(a) * right) + np.sin(e) * up
    return View(toward=three(eye), up=three(up))


def three(vector: ArrayLike) -> tuple[float, float, float]:
    """Return a vector as three plain numbers."""
    x, y, z = np.asarray(vector, dtype=np.float64).tolist()
    return x, y, z

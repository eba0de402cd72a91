"""Height fields: a surface with one height over every point of a rectangle, as a triangulated sheet."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mirrorprep.geometry.column_raster import columns_at
from mirrorprep.geometry.topology import edge_table

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class HeightField:
    """A piecewise linear height over a rectangle of the uv-plane.

    Attributes
    ----------
    nodes_uv : (n, 2) float64
        Node positions in mm; together they fill the rectangle that they span.
    height_mm : (n,) float64
        Height of each node.
    triangles : (m, 3) int64
        Counter-clockwise seen from above; they cover the rectangle once.
    """

    nodes_uv: FloatArray
    height_mm: FloatArray
    triangles: IntArray

    @property
    def points_mm(self) -> FloatArray:
        """Nodes as points (u, v, height), shape (n, 3)."""
        return np.column_stack([self.nodes_uv, self.height_mm])

    @property
    def low_uv(self) -> FloatArray:
        """Lowest corner of the rectangle."""
        return np.asarray(self.nodes_uv.min(axis=0))

    @property
    def high_uv(self) -> FloatArray:
        """Highest corner of the rectangle."""
        return np.asarray(self.nodes_uv.max(axis=0))

    def slopes_deg(self) -> FloatArray:
        """Return the angle of each triangle from the level, shape (m,)."""
        corners = self.points_mm[self.triangles]
        normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        return np.degrees(np.arctan2(np.hypot(normal[:, 0], normal[:, 1]), normal[:, 2]))

    def at(self, uv: ArrayLike) -> FloatArray:
        """Return the height over (n, 2) points; beyond the rectangle, that of its nearest edge point."""
        points = np.asarray(uv, dtype=np.float64).reshape(-1, 2)
        if len(points) == 0:
            return np.zeros(0)
        low, high = self.low_uv, self.high_uv
        hair = 1e-9 * float((high - low).max())  # the far edges are open to half-open rows and columns
        inside = np.clip(points, low + hair, high - hair)
        height = columns_at(inside, self.points_mm, self.triangles).top_mm
        missed = np.flatnonzero(~np.isfinite(height))
        if len(missed):  # a hair outside all triangles where the rim is not exactly straight
            from scipy.spatial import cKDTree

            height[missed] = self.height_mm[cKDTree(self.nodes_uv).query(inside[missed])[1]]
        return height


def level_field(low_uv: ArrayLike, high_uv: ArrayLike, height_mm: float) -> HeightField:
    """Return the level field over a rectangle.

    Examples
    --------
    >>> level_field([0, 0], [2, 1], 5.0).at([[1.0, 0.5], [9.0, 9.0]]).tolist()
    [5.0, 5.0]
    """
    (x0, y0), (x1, y1) = np.asarray(low_uv, dtype=np.float64), np.asarray(high_uv, dtype=np.float64)
    return HeightField(
        nodes_uv=np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]]),
        height_mm=np.full(4, float(height_mm)),
        triangles=np.array([[0, 1, 2], [0, 2, 3]]),
    )


def triangulated(nodes_uv: FloatArray) -> IntArray:
    """Return the Delaunay triangles of points, counter-clockwise, those without area left out."""
    from scipy.spatial import Delaunay

    triangles = np.asarray(Delaunay(nodes_uv).simplices, dtype=np.int64)
    twice = _twice_area(nodes_uv, triangles)
    triangles = np.where((twice < 0.0)[:, None], triangles[:, ::-1], triangles)
    span = float(np.ptp(nodes_uv, axis=0).max())
    return np.ascontiguousarray(triangles[np.abs(twice) > 1e-14 * span**2])


def _twice_area(nodes_uv: FloatArray, triangles: IntArray) -> FloatArray:
    a, b, c = np.moveaxis(nodes_uv[triangles], 1, 0)
    return np.asarray((b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0]))


def widened(field: HeightField, by_mm: float) -> HeightField:
    """Return the field with its rectangle grown on all sides; the rim's heights carry on level outward.

    Examples
    --------
    >>> widened(level_field([0, 0], [2, 1], 5.0), 1.0).high_uv.tolist()
    [3.0, 2.0]
    """
    start, stop = _rim(field.triangles)
    low, high = field.low_uv, field.high_uv
    points, faces = [field.points_mm], [field.triangles]
    count = len(field.nodes_uv)
    for axis, edge, sign in ((0, high[0], 1.0), (1, high[1], 1.0), (0, low[0], -1.0), (1, low[1], -1.0)):
        on_edge = (field.nodes_uv[start, axis] == edge) & (field.nodes_uv[stop, axis] == edge)
        nodes, place = np.unique(np.concatenate([start[on_edge], stop[on_edge]]), return_inverse=True)
        moved = field.points_mm[nodes]
        moved[:, axis] += sign * by_mm
        a, b = start[on_edge], stop[on_edge]
        far_a, far_b = count + place[: len(a)], count + place[len(a) :]
        faces += [np.column_stack([b, a, far_a]), np.column_stack([b, far_a, far_b])]
        points.append(moved)
        count += len(nodes)
    field = HeightField(
        nodes_uv=np.vstack(points)[:, :2], height_mm=np.vstack(points)[:, 2], triangles=np.vstack(faces)
    )
    return _with_corners(field, low, high, by_mm)


def _with_corners(field: HeightField, low: FloatArray, high: FloatArray, by_mm: float) -> HeightField:
    """Fill the four corner squares that growing the sides leaves open."""
    index = {(float(u), float(v)): i for i, (u, v) in enumerate(field.nodes_uv)}
    points, faces = [field.points_mm], [field.triangles]
    count = len(field.nodes_uv)
    for u, v, du, dv in (
        (high[0], high[1], by_mm, by_mm),
        (low[0], high[1], -by_mm, by_mm),
        (low[0], low[1], -by_mm, -by_mm),
        (high[0], low[1], by_mm, -by_mm),
    ):
        near, along, across = index[u, v], index[u + du, v], index[u, v + dv]
        turn = (along, count, across) if du * dv > 0 else (across, count, along)
        faces.append(np.array([[near, turn[0], turn[1]], [near, turn[1], turn[2]]]))
        points.append(np.array([[u + du, v + dv, field.height_mm[near]]]))
        count += 1
    return replace(
        field,
        nodes_uv=np.vstack(points)[:, :2],
        height_mm=np.vstack(points)[:, 2],
        triangles=np.vstack(faces),
    )


def _rim(triangles: IntArray) -> tuple[IntArray, IntArray]:
    """Return start and stop of the edges around the sheet, counter-clockwise."""
    table = edge_table(triangles)
    rim = np.argwhere(table.open[table.of_face])
    return triangles[rim[:, 0], rim[:, 1]], triangles[rim[:, 0], (rim[:, 1] + 1) % 3]


def body_below(field: HeightField, floor_mm: float) -> tuple[FloatArray, IntArray]:
    """Return vertices and faces of the closed body between a height field and a level floor.

    Parameters
    ----------
    field : HeightField
        The roof.
    floor_mm : float
        Height of the floor; it must lie below the whole field.

    Returns
    -------
    vertices : (n, 3) float64
        In mm.
    faces : (m, 3) int64
        Closed and outward.

    Examples
    --------
    >>> from mirrorprep.geometry.mass_properties import signed_volume_mm3
    >>> round(signed_volume_mm3(*body_below(level_field([0, 0], [2, 3], 5.0), 1.0)), 9)
    24.0
    """
    count = len(field.nodes_uv)
    start, stop = _rim(field.triangles)
    under = np.full(count, -1, dtype=np.int64)
    under[start] = count + np.arange(len(start))
    centre = count + len(start)
    middle = (field.low_uv + field.high_uv) / 2.0
    flat = np.vstack([field.nodes_uv, field.nodes_uv[start], middle])
    floor = np.full(len(start) + 1, float(floor_mm))
    vertices = np.column_stack([flat, np.concatenate([field.height_mm, floor])])
    walls = np.vstack(
        [np.column_stack([stop, start, under[start]]), np.column_stack([stop, under[start], under[stop]])]
    )
    bottom = np.column_stack([under[stop], under[start], np.full(len(start), centre)])
    return vertices, np.vstack([field.triangles, walls, bottom])

"""Height fields: a surface with one height over every point of a rectangle, as a triangulated sheet."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

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
    def low_uv(self) -> FloatArray:
        """Lowest corner of the rectangle."""
        return np.asarray(self.nodes_uv.min(axis=0))

    @property
    def high_uv(self) -> FloatArray:
        """Highest corner of the rectangle."""
        return np.asarray(self.nodes_uv.max(axis=0))

    def slopes_deg(self) -> FloatArray:
        """Return the angle of each triangle from the level, shape (m,)."""
        corners = np.column_stack([self.nodes_uv, self.height_mm])[self.triangles]
        normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        return np.degrees(np.arctan2(np.hypot(normal[:, 0], normal[:, 1]), normal[:, 2]))

    def at(self, uv: ArrayLike) -> FloatArray:
        """Return the height over (n, 2) points; beyond the rectangle, that of its nearest edge point."""
        from scipy.interpolate import LinearNDInterpolator

        points = np.clip(np.asarray(uv, dtype=np.float64).reshape(-1, 2), self.low_uv, self.high_uv)
        return np.asarray(LinearNDInterpolator(self.nodes_uv, self.height_mm)(points))


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
    table = edge_table(field.triangles)
    rim = np.argwhere(table.open[table.of_face])
    start = field.triangles[rim[:, 0], rim[:, 1]]
    stop = field.triangles[rim[:, 0], (rim[:, 1] + 1) % 3]
    under = np.full(count, -1, dtype=np.int64)
    under[start] = count + np.arange(len(start))
    centre = count + len(start)
    middle = (field.low_uv + field.high_uv) / 2.0
    floor = np.full(len(start) + 1, float(floor_mm))
    vertices = np.column_stack(
        [
            np.vstack([field.nodes_uv, field.nodes_uv[start], middle]),
            np.concatenate([field.height_mm, floor]),
        ]
    )
    walls = np.vstack(
        [np.column_stack([stop, start, under[start]]), np.column_stack([stop, under[start], under[stop]])]
    )
    bottom = np.column_stack([under[stop], under[start], np.full(len(start), centre)])
    return vertices, np.vstack([field.triangles, walls, bottom])

"""Undercuts toward the seating direction: skin that the part would have to pass through when taken off."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mirrorprep.geometry.column_raster import ColumnGrid, column_intervals, raster
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.primitives import frame_along
from mirrorprep.solid.solid import Solid

FloatArray = NDArray[np.float64]

COLUMNS: Final = 160
LEAST_DEPTH_MM: Final = 0.05
_TURN_DEG: Final = 17.3  # no simple fraction of a turn, so that columns do not run along facets


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class SeatUndercut:
    """What keeps the part from coming straight off.

    Attributes
    ----------
    direction : (3,) float64
        Unit direction in which the part is taken off.
    depth_mm : (n,) float64
        For each vertex of the part the length of recipient in the way above it, along the direction.
    volume_mm3, largest_mm : float
        Recipient in the way, and its greatest length.
    where_mm : (3,) float64 or None
        Place of the greatest length; None without an undercut.
    """

    direction: FloatArray
    depth_mm: FloatArray
    volume_mm3: float
    largest_mm: float
    where_mm: FloatArray | None


def seat_undercut(
    part: Solid, recipient: Solid, direction: ArrayLike, *, shown: Solid | None = None
) -> SeatUndercut:
    """Return the skin in the way when the part is taken off in a direction.

    Parameters
    ----------
    part, recipient : Solid
        In place, not overlapping.
    direction : (3,) array
        Away from the skin.
    shown : Solid, optional
        The part with what was added to it, for whose vertices the map is made.

    Notes
    -----
    Columns along the direction; in each, the recipient above the lowest point of the part is in the way. What
    begins more than the part's own height above its top is not counted: by then the part is free.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import box
    >>> ground = box([30, 30, 10], center_mm=[0, 0, -5])
    >>> seat_undercut(box([10, 10, 4], center_mm=[0, 0, 2]), ground, [0, 0, 1]).volume_mm3
    0.0
    """
    axis = np.asarray(direction, dtype=np.float64)
    axis = axis / np.linalg.norm(axis)
    frame = _frame(axis)
    own, skin = _seen(part.mesh, frame), _seen(recipient.mesh, frame)
    grid = ColumnGrid.over(own.min(axis=0)[:2], own.max(axis=0)[:2], columns=COLUMNS)
    columns = raster(own, part.mesh.faces, grid)
    column, low, high = column_intervals(
        skin, recipient.mesh.faces, grid.origin_uv, grid.spacing_mm, grid.shape
    )
    bottom = columns.bottom_mm[column]
    met = columns.filled[column] & (low < own[:, 2].max() + np.ptp(own[:, 2]))
    column, low, high, bottom = column[met], low[met], high[met], bottom[met]
    length = np.maximum(high - np.maximum(low, bottom), 0.0)
    # skin that the part rests on ends at the part's bottom; faceting leaves some hundredths of a mm
    length[length < LEAST_DEPTH_MM] = 0.0
    depth = np.asarray(np.bincount(column, length, grid.count), dtype=np.float64)
    largest = int(depth.argmax())
    place = np.append(grid.points_uv[largest], columns.bottom_mm[largest])
    return SeatUndercut(
        direction=axis,
        depth_mm=_at(_seen((shown or part).mesh, frame), depth, grid),
        volume_mm3=float(depth.sum() * grid.cell_area_mm2),
        largest_mm=float(depth[largest]),
        where_mm=frame @ place if depth[largest] > 0.0 else None,
    )


def _frame(axis: FloatArray) -> FloatArray:
    base = frame_along(axis)
    c, s = np.cos(np.radians(_TURN_DEG)), np.sin(np.radians(_TURN_DEG))
    return np.asarray(base @ np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]]))


def _seen(mesh: ScanMesh, frame: FloatArray) -> FloatArray:
    return np.asarray(mesh.vertices @ frame)


def _at(points: FloatArray, depth: FloatArray, grid: ColumnGrid) -> FloatArray:
    """Return the values of the columns nearest to points."""
    index = np.rint((points[:, :2] - grid.origin_uv) / grid.spacing_mm).astype(np.int64)
    index = np.clip(index, 0, np.array(grid.shape) - 1)
    return np.asarray(depth[index[:, 0] * grid.shape[1] + index[:, 1]])

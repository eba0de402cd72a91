"""Column rasters of a small closed mesh along many directions at once, for what a mould would trap.

The geometry is that of `mirrorprep.geometry.column_raster`, arranged for thousands of views of a few thousand
triangles: several views are cast in one pass of short arrays, heights come from the planes of the triangles,
and only tops, bottoms and the sums over all columns are kept. Along a view the columns stand closer than the
rows: a row is integrated nearly exactly, and fewer rows cut fewer triangles.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

_AT_ONCE = 24_000
_UPRIGHT = 1e-6
_LEAST_RISE = 1e-290

# Corner order by rising row coordinate for each outcome of (y0 <= y1, y1 <= y2, y0 <= y2), and whether
# that order runs round the triangle the way its corners do. Impossible outcomes repeat a possible one.
_ORDER = np.array(
    [[2, 2, 1, 1, 2, 0, 0, 0], [1, 1, 2, 0, 0, 2, 1, 1], [0, 0, 0, 2, 1, 1, 2, 2]], dtype=np.int64
)
_CYCLIC = np.array([False, False, True, False, True, False, True, True])


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class ViewMeasures:
    """What columns meet along each of n views.

    Attributes
    ----------
    gap_volume : (n,) float64
        Volume between bottom and top of the columns that is not inside the mesh.
    missed_volume : (n,) float64
        Volume by which the median height lies above tops or below bottoms.
    median_height : (n,) float64
        Median of all tops and bottoms: where ``missed_volume`` is least.
    extent : (n,) float64
        The mesh's length along the view.
    """

    gap_volume: FloatArray
    missed_volume: FloatArray
    median_height: FloatArray
    extent: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class ViewedMesh:
    """A closed surface made ready for many views.

    Attributes
    ----------
    points : (3, k) float64
        Positions in mm.
    corners : (3, m) int64
        Triangles, counter-clockwise from outside.
    normals : (3, m) float64
        Unit normals; zero for a triangle without area.
    """

    points: FloatArray
    corners: IntArray
    normals: FloatArray

    @classmethod
    def of(cls, vertices: FloatArray, faces: IntArray) -> "ViewedMesh":
        """Return the mesh of (k, 3) vertices and (m, 3) faces."""
        points, corners = np.ascontiguousarray(vertices.T), np.ascontiguousarray(faces.T)
        a, b, c = (points[:, corner] for corner in corners)
        normal = np.cross(b - a, c - a, axis=0)
        length = np.sqrt((normal**2).sum(axis=0))
        return cls(points, corners, normal / np.where(length > 0.0, length, 1.0))


@dataclass(frozen=True, slots=True, eq=False)
class _Grids:
    """Vertices in units of the grid: y along the rows' axis, x along the columns', z in millimetres."""

    y: FloatArray
    x: FloatArray
    z: FloatArray
    spacing: FloatArray  # (views, 2)
    extent: FloatArray  # (views,)


@dataclass(frozen=True, slots=True, eq=False)
class _Sides:
    """Triangles that may meet a column, corners sorted by y: places, slopes and the next rows."""

    face: IntArray
    y: tuple[FloatArray, ...]
    x: tuple[FloatArray, ...]
    z_low: FloatArray
    cyclic: BoolArray


@dataclass(frozen=True, slots=True, eq=False)
class _Strips:
    """Where a row passes a triangle between at least two columns."""

    side: IntArray
    row: IntArray
    first: IntArray
    count: IntArray
    leaving: BoolArray


def measured_views(mesh: ViewedMesh, frames: FloatArray, *, rows: int, columns: int) -> ViewMeasures:
    """Return what the columns of a grid over the mesh's shadow meet along every view.

    Parameters
    ----------
    mesh : ViewedMesh
        A closed surface.
    frames : (n, 3, 3) float64
        Rotations: the columns run along the third axis, rows are counted along the first.
    rows, columns : int
        Places along the first and the second axis of the shadow.

    Returns
    -------
    ViewMeasures
        One entry per view.

    Examples
    --------
    >>> corner = np.vstack([np.zeros(3), np.diag([4.0, 4.0, 4.0])])
    >>> faces = np.array([[0, 2, 1], [0, 3, 2], [0, 1, 3], [1, 2, 3]])
    >>> seen = measured_views(ViewedMesh.of(corner, faces), np.eye(3)[None], rows=32, columns=32)
    >>> round(float(seen.gap_volume[0]), 9), round(float(seen.extent[0]), 9)
    (0.0, 4.0)
    """
    step = max(1, _AT_ONCE // max(mesh.corners.shape[1], 1))
    parts = [
        _measured(mesh, frames[start : start + step], rows, columns) for start in range(0, len(frames), step)
    ]
    return ViewMeasures(
        gap_volume=np.concatenate([part.gap_volume for part in parts]),
        missed_volume=np.concatenate([part.missed_volume for part in parts]),
        median_height=np.concatenate([part.median_height for part in parts]),
        extent=np.concatenate([part.extent for part in parts]),
    )


def _measured(mesh: ViewedMesh, frames: FloatArray, rows: int, columns: int) -> ViewMeasures:
    """Measure a few views in one pass.

    The best height is the median of tops and bottoms; an empty column's bottom +inf and top −inf do not
    shift it. What it misses is half of Σ |height − top| + Σ |height − bottom| − Σ (top − bottom).
    """
    size = rows * columns
    grids = _grids(mesh, frames, rows, columns)
    top, bottom, inside = _tops_and_bottoms(mesh, frames, grids, (rows, columns))
    ends = np.concatenate([bottom, top], axis=1)
    ends.partition([size - 1, size], axis=1)
    middle = 0.5 * (ends[:, size - 1] + ends[:, size])
    away = np.abs(ends - middle[:, None])
    span = np.where(top > -np.inf, top - bottom, 0.0).sum(axis=1)
    missed = 0.5 * (np.where(away < np.inf, away, 0.0).sum(axis=1) - span)
    area = grids.spacing.prod(axis=1)
    return ViewMeasures(
        gap_volume=np.maximum(span - inside, 0.0) * area,
        missed_volume=np.maximum(missed, 0.0) * area,
        median_height=middle,
        extent=grids.extent,
    )


def _grids(mesh: ViewedMesh, frames: FloatArray, rows: int, columns: int) -> _Grids:
    seen = frames.transpose(0, 2, 1) @ mesh.points
    low, high = seen.min(axis=2), seen.max(axis=2)
    spacing = np.maximum((high - low)[:, :2] / [rows, columns], 1e-300)
    flat = (seen[:, :2] - low[:, :2, None]) / spacing[:, :, None] - 0.5
    return _Grids(flat[:, 0].ravel(), flat[:, 1].ravel(), seen[:, 2].ravel(), spacing, (high - low)[:, 2])


def _tops_and_bottoms(
    mesh: ViewedMesh, frames: FloatArray, grids: _Grids, shape: tuple[int, int]
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return top and bottom of every column, shape (views, columns), and the length inside by view."""
    views, size = len(frames), shape[0] * shape[1]
    sides = _sides(mesh, grids, views)
    strips = _strips(sides)
    face = sides.face.take(strips.side)
    view = face // mesh.corners.shape[1]
    slope_y, slope_x = _slopes(mesh, frames, grids.spacing, face)
    y, x = sides.y[0].take(strips.side), sides.x[0].take(strips.side)
    z = sides.z_low.take(strips.side) + (strips.row - y) * slope_y + (strips.first - x) * slope_x
    run, step = _expand(strips.count)
    column = (view * size + strips.row * shape[1] + strips.first).take(run) + step
    height = z.take(run) + step * slope_x.take(run)
    leaving = strips.leaving.take(run)
    out, into = np.flatnonzero(leaving), np.flatnonzero(~leaving)
    top, bottom = np.full(views * size, -np.inf), np.full(views * size, np.inf)
    np.maximum.at(top, column.take(out), height.take(out))
    np.minimum.at(bottom, column.take(into), height.take(into))
    signed = strips.count * (z + 0.5 * (strips.count - 1) * slope_x) * np.where(strips.leaving, 1.0, -1.0)
    inside = np.bincount(view, weights=signed, minlength=views).astype(np.float64)
    return top.reshape(views, size), bottom.reshape(views, size), inside


def _sides(mesh: ViewedMesh, grids: _Grids, views: int) -> _Sides:
    """Sort the corners of the triangles that have a row and a column between them."""
    a, b, c = mesh.corners
    if views > 1:
        shift = (np.arange(views) * mesh.points.shape[1])[:, None]
        a, b, c = ((corner + shift).ravel() for corner in mesh.corners)
    row, column = np.ceil(grids.y).astype(np.int32), np.ceil(grids.x).astype(np.int32)
    face = np.flatnonzero(_differ(row, a, b, c) & _differ(column, a, b, c))
    corner = np.concatenate([a.take(face), b.take(face), c.take(face)])
    y, x = grids.y.take(corner), grids.x.take(corner)
    y0, y1, y2 = y.reshape(3, -1)
    outcome = (y0 <= y1) * np.int8(4) + (y1 <= y2) * np.int8(2) + (y0 <= y2)
    place = np.arange(len(face))
    order = [rank.take(outcome) * len(face) + place for rank in _ORDER]
    return _Sides(
        face,
        tuple(y.take(rank) for rank in order),
        tuple(x.take(rank) for rank in order),
        grids.z.take(corner.take(order[0])),
        _CYCLIC.take(outcome),
    )


def _differ(place: NDArray[np.int32], a: IntArray, b: IntArray, c: IntArray) -> BoolArray:
    one, two, three = place.take(a), place.take(b), place.take(c)
    return np.asarray((one != two) | (two != three))


def _strips(sides: _Sides) -> _Strips:
    """Cut each triangle with its rows, below and above its middle corner, against its long edge.

    An edge's crossing is computed from its lower to its upper end, whichever triangle asks, and rows and
    columns are half-open; so a closed mesh is left as often as it is entered in every column.
    """
    (y_low, y_mid, y_high), (x_low, x_mid, x_high) = sides.y, sides.x
    row_low, row_mid, row_high = (np.ceil(y).astype(np.int64) for y in sides.y)
    rise = [np.maximum(rise, _LEAST_RISE) for rise in (y_high - y_low, y_mid - y_low, y_high - y_mid)]
    long, lower, upper = (x_high - x_low) / rise[0], (x_mid - x_low) / rise[1], (x_high - x_mid) / rise[2]
    count = np.concatenate([row_mid - row_low, row_high - row_mid])
    half = np.flatnonzero(count > 0)
    run, step = _expand(count.take(half))
    row = np.concatenate([row_low, row_mid]).take(half).take(run) + step
    half = half.take(run)
    side = half - len(y_low) * (half >= len(y_low))
    x_long = x_low.take(side) + (row - y_low.take(side)) * long.take(side)
    x_short = np.concatenate([x_low, x_mid]).take(half) + (
        row - np.concatenate([y_low, y_mid]).take(half)
    ) * np.concatenate([lower, upper]).take(half)
    from_long, from_short = np.ceil(x_long).astype(np.int64), np.ceil(x_short).astype(np.int64)
    met = np.flatnonzero(from_long != from_short)
    side, from_long, from_short = side.take(met), from_long.take(met), from_short.take(met)
    return _Strips(
        side,
        row.take(met),
        np.minimum(from_long, from_short),
        np.abs(from_long - from_short),
        sides.cyclic.take(side) != (from_long < from_short),
    )


def _expand(lengths: IntArray) -> tuple[IntArray, IntArray]:
    """Return, for runs of the given lengths, the run of each element and its place within the run."""
    run = np.repeat(np.arange(len(lengths)), lengths)
    return run, np.arange(len(run)) - (np.cumsum(lengths) - lengths).take(run)


def _slopes(
    mesh: ViewedMesh, frames: FloatArray, spacing: FloatArray, face: IntArray
) -> tuple[FloatArray, FloatArray]:
    """Return how a triangle rises from row to row and from column to column; flat where it stands upright.

    Upright triangles have no area to meet a column by, but for rounding.
    """
    count = mesh.normals.shape[1]
    normal = (frames.transpose(0, 2, 1) @ mesh.normals).ravel()
    view = face // count
    at = face + 2 * count * view
    up = normal.take(at + 2 * count)
    share = -1.0 / np.where(np.abs(up) < _UPRIGHT, np.inf, up)
    rows, columns = spacing.T
    return normal.take(at) * share * rows.take(view), normal.take(at + count) * share * columns.take(view)

"""Column rasters: where vertical lines on a regular grid, or through any points, enter and leave a mesh.

A triangle is walked row by row. The point where an edge crosses a row is computed from the edge's lower end
to its upper end, whichever triangle asks, and rows and columns are half-open intervals; so a line that meets
a shared edge or vertex meets exactly one of the triangles around it, and a closed mesh is left as often as
it is entered along every column.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class ColumnGrid:
    """A regular grid of vertical columns; column ``i * shape[1] + j`` stands at ``origin + (i, j) spacing``.

    Attributes
    ----------
    origin_uv : (2,) float64
        Place of the first column, mm.
    spacing_mm : float
        Distance between columns along u and v.
    shape : (int, int)
        Number of columns along u and v.
    """

    origin_uv: FloatArray
    spacing_mm: float
    shape: tuple[int, int]

    @classmethod
    def over(cls, low_uv: ArrayLike, high_uv: ArrayLike, *, columns: int) -> "ColumnGrid":
        """Return the grid over a rectangle with `columns` columns along its longer side, cells centred."""
        low, high = np.asarray(low_uv, dtype=np.float64), np.asarray(high_uv, dtype=np.float64)
        spacing = float((high - low).max()) / columns
        count = np.maximum(np.ceil((high - low) / spacing - 1e-9).astype(int), 1)
        first = (low + high) / 2.0 - spacing * (count - 1) / 2.0
        return cls(origin_uv=first, spacing_mm=spacing, shape=(int(count[0]), int(count[1])))

    @property
    def count(self) -> int:
        """Number of columns."""
        return self.shape[0] * self.shape[1]

    @property
    def cell_area_mm2(self) -> float:
        """Area that one column stands for."""
        return self.spacing_mm**2

    @property
    def points_uv(self) -> FloatArray:
        """Places of all columns, shape (count, 2)."""
        index = np.indices(self.shape).reshape(2, -1).T
        return np.asarray(self.origin_uv + index * self.spacing_mm)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Columns:
    """What each column meets of a closed mesh.

    Attributes
    ----------
    bottom_mm, top_mm : (n,) float64
        Lowest and highest point; +inf and −inf in an empty column.
    thickness_mm : (n,) float64
        Summed length inside the mesh.
    intervals : (n,) int64
        How many times the column enters the mesh.
    """

    bottom_mm: FloatArray
    top_mm: FloatArray
    thickness_mm: FloatArray
    intervals: IntArray

    @property
    def filled(self) -> BoolArray:
        """Columns that meet the mesh."""
        return np.asarray(self.intervals > 0)

    @property
    def gap_mm(self) -> FloatArray:
        """Length between bottom and top that is not inside the mesh; zero in an empty column."""
        with np.errstate(invalid="ignore"):
            gap = np.where(self.filled, self.top_mm - self.bottom_mm - self.thickness_mm, 0.0)
        return np.maximum(gap, 0.0)

    def missed_mm(self, height_mm: FloatArray) -> FloatArray:
        """Return the length by which a height lies above the top or below the bottom; zero where empty."""
        missed = np.zeros(len(self.top_mm))
        met = self.filled
        height, top, bottom = height_mm[met], self.top_mm[met], self.bottom_mm[met]
        missed[met] = np.maximum(np.maximum(height - top, bottom - height), 0.0)
        return missed

    def at(self, which: IntArray | BoolArray) -> "Columns":
        """Return some of the columns."""
        return Columns(
            bottom_mm=self.bottom_mm[which],
            top_mm=self.top_mm[which],
            thickness_mm=self.thickness_mm[which],
            intervals=self.intervals[which],
        )


@dataclass(frozen=True, slots=True, eq=False)
class _Hits:
    column: IntArray
    z: FloatArray
    leaving: BoolArray


# Corner order by rising row coordinate for each outcome of (y0 <= y1, y1 <= y2, y0 <= y2), and whether
# that order runs round the triangle the way its corners do. Impossible outcomes repeat a possible one.
_ORDER = np.array([[2, 1, 0], [2, 1, 0], [1, 2, 0], [1, 0, 2], [2, 0, 1], [0, 2, 1], [0, 1, 2], [0, 1, 2]])
_CYCLIC = np.array([False, False, True, False, True, False, True, True])


def raster(vertices: FloatArray, faces: IntArray, grid: ColumnGrid) -> Columns:
    """Return bottom, top and thickness of a closed mesh in every column of a grid.

    Parameters
    ----------
    vertices : (n, 3) float64
        Positions u, v, z in mm; columns run along z.
    faces : (m, 3) int64
        Counter-clockwise from outside.
    grid : ColumnGrid
        Where the columns stand.

    Returns
    -------
    Columns
        One entry per column, in the grid's order.

    Notes
    -----
    An aligned grid resonates with aligned facets: turn the mesh in its own plane by an angle that is no
    simple fraction of a turn, as `frame_turned` does.

    Examples
    --------
    >>> corner = np.vstack([np.zeros(3), np.diag([4.0, 4.0, 4.0])])
    >>> faces = np.array([[0, 2, 1], [0, 3, 2], [0, 1, 3], [1, 2, 3]])
    >>> grid = ColumnGrid(origin_uv=np.array([1.0, 1.0]), spacing_mm=1.0, shape=(2, 2))
    >>> raster(corner, faces, grid).thickness_mm.tolist()
    [2.0, 1.0, 1.0, 0.0]
    """
    return _gather(_grid_hits(vertices, faces, grid), grid.count)


def columns_at(points_uv: ArrayLike, vertices: FloatArray, faces: IntArray) -> Columns:
    """Return bottom, top and thickness of a closed mesh along vertical lines through any points.

    Parameters
    ----------
    points_uv : (k, 2) float64
        Where the lines stand, mm.
    vertices, faces
        As in `raster`.

    Returns
    -------
    Columns
        One entry per point.
    """
    points = np.asarray(points_uv, dtype=np.float64).reshape(-1, 2)
    return _gather(_point_hits(vertices, faces, points), len(points))


def column_intervals(
    vertices: FloatArray, faces: IntArray, origin: ArrayLike, spacing: float, shape: tuple[int, int]
) -> tuple[IntArray, FloatArray, FloatArray]:
    """Return the intervals that the columns of a grid spend inside a closed mesh.

    Parameters
    ----------
    vertices, faces
        As in `raster`.
    origin : (2,) float64
        Place of the first column, mm.
    spacing : float
        Distance between columns, mm.
    shape : (int, int)
        Number of columns along u and v.

    Returns
    -------
    column : (k,) int64
        Column number ``i * shape[1] + j``, rising.
    z_in, z_out : (k,) float64
        Where the interval begins and ends, mm, rising within a column. Intervals that touch or overlap are
        one.
    """
    grid = ColumnGrid(origin_uv=np.asarray(origin, dtype=np.float64), spacing_mm=float(spacing), shape=shape)
    hits = _grid_hits(vertices, faces, grid)
    order = np.lexsort((hits.leaving, hits.z, hits.column))
    column, z = hits.column[order], hits.z[order]
    winding = np.cumsum(np.where(hits.leaving[order], -1, 1))
    before = np.concatenate([[0], winding[:-1]])
    begins = (before == 0) & (winding == 1)
    ends = (before == 1) & (winding == 0)
    return column[begins], z[begins], z[ends]


def _gather(hits: _Hits, count: int) -> Columns:
    enters = ~hits.leaving
    top = np.full(count, -np.inf)
    bottom = np.full(count, np.inf)
    np.maximum.at(top, hits.column[hits.leaving], hits.z[hits.leaving])
    np.minimum.at(bottom, hits.column[enters], hits.z[enters])
    signed = np.where(hits.leaving, hits.z, -hits.z)
    return Columns(
        bottom_mm=bottom,
        top_mm=top,
        thickness_mm=np.bincount(hits.column, weights=signed, minlength=count).astype(np.float64),
        intervals=np.bincount(hits.column[enters], minlength=count),
    )


def _grid_hits(vertices: FloatArray, faces: IntArray, grid: ColumnGrid) -> _Hits:
    rows, width = grid.shape
    y = (vertices[:, 0] - grid.origin_uv[0]) / grid.spacing_mm
    x = (vertices[:, 1] - grid.origin_uv[1]) / grid.spacing_mm
    first_row = np.clip(np.ceil(y), 0, rows).astype(np.int32)
    first_column = np.clip(np.ceil(x), 0, width).astype(np.int32)
    kept = faces[_spans(first_row, faces) & _spans(first_column, faces)]
    corners, cyclic = _sorted_corners(y, kept)
    start, stop = first_row[corners[:, 0]].astype(np.int64), first_row[corners[:, 2]].astype(np.int64)
    face, offset = _expand(stop - start)
    row = start[face] + offset
    cut = _cut_rows((y, x, vertices[:, 2]), corners[face], row.astype(np.float64))
    left = np.clip(np.ceil(cut.x_left), 0, width).astype(np.int64)
    right = np.clip(np.ceil(cut.x_right), 0, width).astype(np.int64)
    span, offset = _expand(right - left)
    place = left[span] + offset
    return _Hits(row[span] * width + place, cut.height(span, place), cut.leaving(cyclic[face])[span])


def _point_hits(vertices: FloatArray, faces: IntArray, points: FloatArray) -> _Hits:
    """Join triangles and points through a grid of cells, then decide as for a grid."""
    low = points.min(axis=0)
    size = max(float((points.max(axis=0) - low).max()) / max(np.sqrt(len(points)), 1.0), 1e-12)
    cell = np.floor((points - low) / size).astype(np.int64)
    rows, width = cell.max(axis=0) + 1
    number = cell[:, 0] * width + cell[:, 1]
    order = np.argsort(number, kind="stable")
    first_of = np.searchsorted(number[order], np.arange(rows * width + 1))
    y, x = vertices[:, 0], vertices[:, 1]
    corners, cyclic = _sorted_corners(y, faces)
    row_of = np.floor((y - low[0]) / size)
    start = np.clip(row_of[corners[:, 0]], 0, rows).astype(np.int64)
    stop = np.clip(row_of[corners[:, 2]] + 1, 0, rows).astype(np.int64)
    side = np.floor((x - low[1]) / size)[faces]
    left = np.clip(side.min(axis=1), 0, width).astype(np.int64)
    right = np.clip(side.max(axis=1) + 1, left, width).astype(np.int64)
    face, offset = _expand(stop - start)
    base = (start[face] + offset) * width
    begin, end = first_of[base + left[face]], first_of[base + right[face]]
    strip, offset = _expand(end - begin)
    face, point = face[strip], order[begin[strip] + offset]
    inside = (y[corners[face, 0]] <= points[point, 0]) & (points[point, 0] < y[corners[face, 2]])
    face, point = face[inside], point[inside]
    cut = _cut_rows((y, x, vertices[:, 2]), corners[face], points[point, 0])
    met = np.flatnonzero((cut.x_left <= points[point, 1]) & (points[point, 1] < cut.x_right))
    point = point[met]
    return _Hits(point, cut.height(met, points[point, 1]), cut.leaving(cyclic[face])[met])


def _spans(first: NDArray[np.int32], faces: IntArray) -> BoolArray:
    """Tell which triangles can cover a grid line: their corners do not all have the same next line."""
    a, b, c = first[faces[:, 0]], first[faces[:, 1]], first[faces[:, 2]]
    return np.asarray((a != b) | (b != c))


def _sorted_corners(y: FloatArray, faces: IntArray) -> tuple[IntArray, BoolArray]:
    a, b, c = y[faces[:, 0]], y[faces[:, 1]], y[faces[:, 2]]
    outcome = (a <= b) * 4 + (b <= c) * 2 + (a <= c)
    return np.take_along_axis(faces, _ORDER[outcome], axis=1), _CYCLIC[outcome]


def _expand(lengths: IntArray) -> tuple[IntArray, IntArray]:
    """Return, for runs of the given lengths, the run of each element and its place within the run."""
    lengths = np.maximum(lengths, 0)
    run = np.repeat(np.arange(len(lengths)), lengths)
    return run, np.arange(len(run)) - np.repeat(np.cumsum(lengths) - lengths, lengths)


@dataclass(frozen=True, slots=True, eq=False)
class _Cut:
    """Where rows cut triangles: the two crossings, left first, and whether the long edge is the left."""

    x_left: FloatArray
    x_right: FloatArray
    z_left: FloatArray
    z_right: FloatArray
    long_left: BoolArray

    def leaving(self, cyclic: BoolArray) -> BoolArray:
        return np.asarray(cyclic != self.long_left)

    def height(self, which: IntArray, x: FloatArray | IntArray) -> FloatArray:
        x_left, z_left = self.x_left[which], self.z_left[which]
        share = (x - x_left) / (self.x_right[which] - x_left)
        return np.asarray(z_left + share * (self.z_right[which] - z_left))


def _cut_rows(points: tuple[FloatArray, ...], corners: IntArray, row: FloatArray) -> _Cut:
    """Cut triangles, whose corners are sorted by y, with the rows ``y = row`` that meet them."""
    low, middle, high = corners.T
    upper = row >= points[0][middle]
    x_long, z_long = _cross(points, low, high, row)
    x_short, z_short = _cross(points, np.where(upper, middle, low), np.where(upper, high, middle), row)
    long_left = x_long < x_short
    return _Cut(
        np.where(long_left, x_long, x_short),
        np.where(long_left, x_short, x_long),
        np.where(long_left, z_long, z_short),
        np.where(long_left, z_short, z_long),
        long_left,
    )


def _cross(
    points: tuple[FloatArray, ...], start: IntArray, stop: IntArray, row: FloatArray
) -> tuple[FloatArray, FloatArray]:
    y, x, z = points
    y_start, x_start, z_start = y[start], x[start], z[start]
    share = (row - y_start) / (y[stop] - y_start)
    return x_start + share * (x[stop] - x_start), z_start + share * (z[stop] - z_start)

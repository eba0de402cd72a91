"""A closed body as vertical columns: where each column of a grid enters and leaves it.

The columns of liquid space that the rising-level analysis works on. Exact along the column, sampled across.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mirrorprep.errors import NotASolidError, UsageError

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

GRID_TURN_RAD = 0.7548776662466927
"""The grid is turned by this angle, so that it is aligned with no edge a person would draw."""

_NEIGHBOURS = ((1, 0), (0, 1), (1, 1), (-1, 1))
_CLOSED_MESH_REMEDY = "Certify the body as a solid first ('mirrorprep check' says what is wrong)."


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class CavityColumns:
    """The pieces of a body along the columns of a square grid.

    Attributes
    ----------
    frame : (3, 3) float64
        Rows are the two grid axes and the unit up direction.
    origin_mm : (2,) float64
        Grid coordinates of column (0, 0), along the first two rows of `frame`.
    spacing_mm : float
        Distance between columns.
    width : int
        Columns along the first axis; one empty column borders the body on every side.
    column : (n,) int64
        Column number ``j * width + i`` of each piece, ascending.
    bottom_mm, top_mm : (n,) float64
        Heights along up at which the piece begins and ends.
    """

    frame: FloatArray
    origin_mm: FloatArray
    spacing_mm: float
    width: int
    column: IntArray
    bottom_mm: FloatArray
    top_mm: FloatArray

    @property
    def volume_mm3(self) -> float:
        """Sampled volume of the body."""
        return float((self.top_mm - self.bottom_mm).sum()) * self.spacing_mm**2

    @property
    def plan_mm(self) -> FloatArray:
        """Position of each piece along the two grid axes, shape (n, 2)."""
        cells = np.stack([self.column % self.width, self.column // self.width], axis=1)
        return np.asarray(self.origin_mm + self.spacing_mm * cells)

    def points_mm(self, pieces: IntArray, heights_mm: FloatArray) -> FloatArray:
        """Return points in space (k, 3) on the columns of `pieces` at the given heights."""
        local = np.column_stack([self.plan_mm[pieces], heights_mm])
        return np.asarray(local @ self.frame)


def used_vertices(vertices: FloatArray, faces: IntArray) -> FloatArray:
    """Return the vertices that faces refer to, in their order.

    Raises
    ------
    NotASolidError
        If there are no faces.
    """
    if len(faces) == 0:
        raise NotASolidError("The mesh has no triangles.", remedy=_CLOSED_MESH_REMEDY)
    used = np.zeros(len(vertices), dtype=np.bool_)
    used[faces.ravel()] = True
    return np.asarray(vertices[used])


def upright_frame(up: ArrayLike) -> FloatArray:
    """Return a rotation (3, 3) whose third row is the unit `up`; the others are turned by a fixed angle.

    Raises
    ------
    UsageError
        If `up` is not a direction.
    """
    z = np.asarray(up, dtype=np.float64)
    length = float(np.linalg.norm(z)) if z.shape == (3,) else 0.0
    if not np.isfinite(length) or length == 0.0:
        raise UsageError(f"{z.tolist()} is not a direction.", remedy="Give three numbers, not all zero.")
    z = z / length
    x = np.cross(np.eye(3)[int(np.argmin(np.abs(z)))], z)
    x /= np.linalg.norm(x)
    y = np.cross(z, x)
    cosine, sine = np.cos(GRID_TURN_RAD), np.sin(GRID_TURN_RAD)
    return np.stack([cosine * x + sine * y, cosine * y - sine * x, z])


def cavity_columns(
    vertices: FloatArray, faces: IntArray, *, up: ArrayLike, spacing_mm: float
) -> CavityColumns:
    """Cut a closed mesh into columns along `up`.

    Parameters
    ----------
    vertices : (n, 3) float64
        Positions in mm.
    faces : (m, 3) int64
        Counter-clockwise from outside. Shells that overlap count as one body (winding number above zero).
    up : (3,) array_like
        Direction of the columns.
    spacing_mm : float
        Grid spacing; walls and gaps thinner than this may be missed.

    Returns
    -------
    CavityColumns
        The pieces, sorted by column and from the top down within a column.

    Raises
    ------
    NotASolidError
        If a column does not leave the body as often as it enters it, or the mesh is inside out.

    Notes
    -----
    Scan conversion row by row. A row belongs to an edge when ``y_low <= y < y_high`` and a cell to a span
    when ``x_left <= x < x_right``, with crossings computed alike for both triangles of an edge, so each
    crossing of a closed mesh is counted exactly once.

    Examples
    --------
    >>> corner = np.vstack([np.zeros(3), 30.0 * np.eye(3)])
    >>> faces = np.array([[0, 2, 1], [0, 3, 2], [0, 1, 3], [1, 2, 3]])
    >>> columns = cavity_columns(corner, faces, up=(0, 0, 1), spacing_mm=0.25)
    >>> bool(abs(columns.volume_mm3 / 4500.0 - 1.0) < 2e-3)
    True
    """
    if not (np.isfinite(spacing_mm) and spacing_mm > 0.0):
        raise UsageError(f"A spacing of {spacing_mm} mm is not positive.", remedy="Give a length in mm.")
    frame = upright_frame(up)
    local = vertices @ frame.T
    used = used_vertices(local, faces)
    low = used[:, :2].min(axis=0) - 1.5 * spacing_mm
    width = int(np.ceil((used[:, 0].max() - low[0]) / spacing_mm)) + 2
    grid = np.column_stack([(local[:, :2] - low) / spacing_mm, local[:, 2]])
    column, height, sign = _crossings(grid, faces, width)
    column, bottom, top = _pieces(column, height, sign)
    return CavityColumns(
        frame=frame,
        origin_mm=low,
        spacing_mm=float(spacing_mm),
        width=width,
        column=column,
        bottom_mm=bottom,
        top_mm=top,
    )


def neighbour_links(columns: CavityColumns) -> tuple[IntArray, IntArray]:
    """Return pairs of pieces in adjacent columns (eight neighbours) that overlap in height.

    Returns
    -------
    first, second : (e,) int64
        Rows of the pieces.
    """
    column, width = columns.column, columns.width
    cells = int(column.max(initial=0)) + 2 * width + 2
    count = np.bincount(column, minlength=cells)
    start = np.cumsum(count) - count
    firsts, seconds = [], []
    for step_x, step_y in _NEIGHBOURS:
        beside = column + step_x + step_y * width
        first, second = _expand(count[beside], start[beside])
        low = np.maximum(columns.bottom_mm[first], columns.bottom_mm[second])
        meet = np.minimum(columns.top_mm[first], columns.top_mm[second]) > low
        firsts.append(first[meet])
        seconds.append(second[meet])
    return np.concatenate(firsts), np.concatenate(seconds)


def _expand(count: IntArray, start: IntArray) -> tuple[IntArray, IntArray]:
    """Return (row, item) for `count` consecutive items from `start` in every row."""
    row = np.repeat(np.arange(len(count)), count)
    before = np.cumsum(count) - count
    return row, np.arange(len(row)) - before[row] + start[row]


def _crossings(grid: FloatArray, faces: IntArray, width: int) -> tuple[IntArray, FloatArray, IntArray]:
    """Return column, height and facing (+1 up, −1 down) of every crossing of a column with a face."""
    faces = _met_by_grid(grid, faces)
    order = np.argsort(grid[:, 1][faces], axis=1, kind="stable")
    each = np.arange(len(faces))
    low, mid, high = (grid[faces[each, order[:, k]]] for k in range(3))
    even = (order[:, 1] - order[:, 0]) % 3 == 1
    first_row = np.ceil(low[:, 1]).astype(np.int64)
    rows = np.ceil(high[:, 1]).astype(np.int64) - first_row
    face, row = _expand(rows, first_row)
    low, mid, high, even = low[face], mid[face], high[face], even[face]
    long_x, long_z = _at_row(low, high, row)
    below = (row < mid[:, 1])[:, None]
    short_x, short_z = _at_row(np.where(below, low, mid), np.where(below, mid, high), row)
    left = np.ceil(np.minimum(long_x, short_x)).astype(np.int64)
    cells = np.ceil(np.maximum(long_x, short_x)).astype(np.int64) - left
    span, cell = _expand(cells, left)
    run = short_x[span] - long_x[span]
    share = np.clip((cell - long_x[span]) / run, 0.0, 1.0)
    height = long_z[span] + share * (short_z[span] - long_z[span])
    sign = np.where(even[span] == (run > 0.0), 1, -1)
    return row[span] * width + cell, height, sign


def _met_by_grid(grid: FloatArray, faces: IntArray) -> IntArray:
    """Return the faces whose bounds hold at least one column and are no sliver between two rows."""
    cell = np.ceil(grid[:, :2]).astype(np.int64)
    met = np.ones(len(faces), dtype=np.bool_)
    for axis in (0, 1):
        a, b, c = cell[:, axis][faces].T
        met &= (a != b) | (b != c)
    return np.asarray(faces[met])


def _at_row(start: FloatArray, stop: FloatArray, row: IntArray) -> tuple[FloatArray, FloatArray]:
    share = (row - start[:, 1]) / (stop[:, 1] - start[:, 1])
    x = start[:, 0] + share * (stop[:, 0] - start[:, 0])
    return x, start[:, 2] + share * (stop[:, 2] - start[:, 2])


def _pieces(column: IntArray, height: FloatArray, sign: IntArray) -> tuple[IntArray, FloatArray, FloatArray]:
    """Return column, bottom and top of every run with a winding number above zero, from the top down."""
    if len(column) == 0:
        raise NotASolidError("The body has no volume at this spacing.", remedy="Use a finer spacing.")
    depth = (height.max() - height) / max(float(np.ptp(height)), 1e-12)
    order = np.argsort(column + 0.5 * depth - 1e-9 * sign, kind="stable")
    column, height, sign = column[order], height[order], sign[order]
    total = np.cumsum(sign)
    starts = np.flatnonzero(np.diff(column, prepend=column[0] - 1))
    carried = np.concatenate([[0], total[starts[1:] - 1]])
    if np.any(np.diff(np.append(carried, total[-1]))):
        raise NotASolidError("The mesh is not closed: a column ends inside it.", remedy=_CLOSED_MESH_REMEDY)
    enters = (total > 0) & (total - sign <= 0)
    leaves = (total <= 0) & (total - sign > 0)
    top, bottom, column = height[enters], height[leaves], column[enters]
    thick = top > bottom
    if not thick.any():
        raise NotASolidError("The mesh is inside out.", remedy=_CLOSED_MESH_REMEDY)
    return column[thick], bottom[thick], top[thick]

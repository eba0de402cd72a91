"""A closed body as vertical columns: where each column of a grid enters and leaves it.

The columns of liquid space that the rising-level analysis works on. Exact along the column, sampled across.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mirrorprep.errors import NotASolidError, UsageError
from mirrorprep.geometry.column_raster import column_intervals
from mirrorprep.geometry.mass_properties import signed_volume_mm3

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

GRID_TURN_RAD = 0.7548776662466927
"""The grid is turned by this angle, so that it is aligned with no edge a person would draw."""

CONTACT_MM = 1e-6
"""Pieces of one column closer than this are one."""

_NEIGHBOURS = ((0, 1), (1, 0), (1, 1), (1, -1))
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
        Columns along the second axis; one empty column borders the body on every side.
    column : (n,) int64
        Column number ``i * width + j`` of each piece, rising.
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
        cells = np.stack([self.column // self.width, self.column % self.width], axis=1)
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


def require_closed(vertices: FloatArray, faces: IntArray) -> None:
    """Raise unless the faces bound a volume: closed, consistently oriented and right side out.

    Raises
    ------
    NotASolidError
        With the reason.

    Notes
    -----
    Every directed edge (i, j) adds ``a_i b_j - a_j b_i`` for random 64-bit numbers a and b per vertex. The
    sum is zero when each edge runs once in either direction, and practically never otherwise.
    """
    rng = np.random.default_rng(0)
    a, b = rng.integers(1, 2**64, size=(2, len(vertices)), dtype=np.uint64)
    i, j = faces, faces[:, [1, 2, 0]]
    if len(faces) == 0 or (a[i] * b[j] - a[j] * b[i]).sum(dtype=np.uint64) != 0:
        raise NotASolidError("The mesh is not closed.", remedy=_CLOSED_MESH_REMEDY)
    volume = signed_volume_mm3(vertices, faces)
    if volume <= 0.0:
        raise NotASolidError(
            f"The mesh is inside out: its volume is {volume:.6g} mm³.", remedy=_CLOSED_MESH_REMEDY
        )


def cavity_columns(
    vertices: FloatArray, faces: IntArray, *, up: ArrayLike, spacing_mm: float
) -> CavityColumns:
    """Cut a closed mesh into columns along `up`.

    Parameters
    ----------
    vertices : (n, 3) float64
        Positions in mm.
    faces : (m, 3) int64
        Closed (see `require_closed`), counter-clockwise from outside. Shells that touch or overlap count as
        one body.
    up : (3,) array_like
        Direction of the columns.
    spacing_mm : float
        Grid spacing; walls and gaps thinner than this may be missed.

    Returns
    -------
    CavityColumns
        The pieces, by column, rising within a column.

    Raises
    ------
    NotASolidError
        If the mesh has no triangles, or no column meets it.
    UsageError
        If `up` is not a direction or the spacing is not positive.

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
    plan = used_vertices(local, faces)[:, :2]
    low = plan.min(axis=0) - 1.5 * spacing_mm
    rows, width = (np.ceil((plan.max(axis=0) - low) / spacing_mm).astype(int) + 2).tolist()
    column, bottom, top = column_intervals(local, faces, low, spacing_mm, (rows, width))
    column, bottom, top = _joined(column, bottom, top)
    thick = top > bottom
    if not thick.any():
        raise NotASolidError("The body has no volume at this spacing.", remedy="Use a finer spacing.")
    return CavityColumns(
        frame=frame,
        origin_mm=low,
        spacing_mm=float(spacing_mm),
        width=width,
        column=column[thick],
        bottom_mm=bottom[thick],
        top_mm=top[thick],
    )


def _joined(column: IntArray, bottom: FloatArray, top: FloatArray) -> tuple[IntArray, FloatArray, FloatArray]:
    """Join pieces of a column that touch within rounding, as where a channel's mesh abuts the cavity's."""
    touching = (column[1:] == column[:-1]) & (bottom[1:] - top[:-1] <= CONTACT_MM)
    first = np.concatenate([[True], ~touching])[: len(column)]
    last = np.concatenate([~touching, [True]])[: len(column)]
    return column[first], bottom[first], top[last]


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
        beside = column + step_x * width + step_y
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

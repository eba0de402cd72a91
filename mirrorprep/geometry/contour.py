"""The surface of a level set on a regular grid, closed and oriented by construction.

A dual method: each grid cell that the surface passes gets one vertex per sheet, each grid edge that the
surface cuts gets one quadrangle, which is split in two. Surface nets (S. F. F. Gibson, "Constrained elastic
surface nets", MICCAI 1998) with one vertex per sheet (G. M. Nielson, "Dual marching cubes", IEEE
Visualization 2004); a face that one sheet crosses twice in both its cells is resolved the other way round
(R. Wenger, "Isosurfaces", 2013). Vertices are moved onto the trilinear interpolant. A quadrangle is split
so that it stays within the tetrahedra between its grid edge and its sides, with a vertex on the grid edge
where no diagonal does (after T. Ju and T. Udeshi, "Intersection-free contouring on an octree grid", Pacific
Graphics 2006): triangles do not cross unless two sheets share a cell.
"""

from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mirrorprep.errors import UsageError

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

# Corner c of a cell stands at (c & 1, c >> 1 & 1, c >> 2 & 1); edge 4 a + k runs along axis a from corner
# EDGES[4 a + k, 0] to EDGES[4 a + k, 1], where bit 0 of k is the step along axis a + 1 and bit 1 along a + 2.
CORNERS = np.array([[c & 1, c >> 1 & 1, c >> 2 & 1] for c in range(8)])
_AXES = [(a, (a + 1) % 3, (a + 2) % 3) for a in range(3)]
EDGES = np.array(
    [
        [(k & 1) << b | (k >> 1) << c, 1 << a | (k & 1) << b | (k >> 1) << c]
        for a, b, c in _AXES
        for k in range(4)
    ]
)
_RING = ((0, 0), (1, 0), (1, 1), (0, 1))  # the four cells around an edge, seen from its far end
_T_LOW = 1e-3  # crossings keep this relative distance from the grid points, so no triangle collapses
_RELAX_STEPS = 3
_RELAX_REACH = 0.5


def _face_corners(face: int) -> list[int]:
    """Return the corners of cell face 2 a + side in cyclic order."""
    a, b, c = _AXES[face // 2]
    return [(face % 2) << a | s << b | t << c for s, t in _RING]


_EDGE_OF = {frozenset(pair): e for e, pair in enumerate(EDGES.tolist())}
_FACE_EDGES = [
    [_EDGE_OF[frozenset((ring[i], ring[(i + 1) % 4]))] for i in range(4)]
    for ring in map(_face_corners, range(6))
]


@cache
def sheets(inside: int, flipped: int = 0) -> tuple[int, ...]:
    """Return the sheet number of each of the 12 cell edges, −1 where the surface does not cut it.

    Parameters
    ----------
    inside : int
        Bit c is set when corner c is inside.
    flipped : int
        On a face whose corners alternate, inside corners are kept apart; where bit f is set, outside
        corners are kept apart on face f instead.
    """
    group = list(range(12))

    def root(edge: int) -> int:
        while group[edge] != edge:
            edge = group[edge]
        return edge

    for face in range(6):
        state = [inside >> c & 1 for c in _face_corners(face)]
        cut = [i for i in range(4) if state[i] != state[(i + 1) % 4]]
        if len(cut) == 4:
            apart = 0 if flipped >> face & 1 else 1
            joins = [((i - 1) % 4, i) for i in range(4) if state[i] == apart]
        else:
            joins = [(cut[0], cut[1])] if cut else []
        for i, j in joins:
            group[root(_FACE_EDGES[face][i])] = root(_FACE_EDGES[face][j])
    active = [inside >> int(p) & 1 != inside >> int(q) & 1 for p, q in EDGES]
    numbers: dict[int, int] = {}
    return tuple(numbers.setdefault(root(e), len(numbers)) if active[e] else -1 for e in range(12))


def _one_sheet_twice(inside: int, face: int, flipped: int) -> bool:
    """Tell whether all four edges of the face are cut by one and the same sheet."""
    found = {sheets(inside, flipped)[e] for e in _FACE_EDGES[face]}
    return len(found) == 1 and -1 not in found


@cache
def _tables() -> tuple[IntArray, NDArray[np.bool_]]:
    """Return the sheets (256, 12) and which faces (256, 6) one sheet crosses twice."""
    table = np.array([sheets(i) for i in range(256)], dtype=np.int64)
    twice = np.array([[_one_sheet_twice(i, f, 0) for f in range(6)] for i in range(256)])
    return table, twice


def contour(
    values: NDArray[np.floating],
    origin_mm: ArrayLike,
    spacing_mm: ArrayLike,
    *,
    level: float = 0.0,
) -> tuple[FloatArray, IntArray]:
    """Return the closed surface where sampled values pass `level`; lower values are inside.

    Parameters
    ----------
    values : (nx, ny, nz) float
        Samples, best near a signed distance, negative inside. All samples on the six outer faces of the
        grid must be outside.
    origin_mm : (3,)
        Position of ``values[0, 0, 0]``.
    spacing_mm : float or (3,)
        Distance of neighbouring samples.
    level : float
        The contoured value; samples equal to it count as outside.

    Returns
    -------
    vertices : (n, 3) float64
        Positions in mm, ordered by cell.
    faces : (m, 3) int64
        Counter-clockwise seen from outside. Every edge belongs to exactly two triangles that run opposite
        ways and every vertex has one closed fan of triangles, whatever the values; (0, 3) when nothing is
        inside.

    Raises
    ------
    UsageError
        If the grid is not three-dimensional, a value is not finite or the surface reaches the border.

    Examples
    --------
    >>> x, y, z = np.mgrid[-12:13, -12:13, -12:13].astype(float)
    >>> vertices, faces = contour(np.sqrt(x * x + y * y + z * z) - 10.0, (-12, -12, -12), 1.0)
    >>> bool(np.abs(np.linalg.norm(vertices, axis=1) - 10.0).max() < 0.05)
    True
    """
    grid = np.asarray(values, dtype=np.float64)
    if grid.ndim != 3:
        raise UsageError(f"The grid has {grid.ndim} axes, not 3.", remedy="Give (nx, ny, nz) values.")
    if not np.isfinite(grid).all():
        raise UsageError("A grid value is not a finite number.", remedy="Replace such values.")
    inside = grid < level
    if min(grid.shape) < 3 or _border_touched(inside):
        raise UsageError(
            "The surface reaches the border of the grid.", remedy="Enlarge the grid by one sample all round."
        )
    cells = np.argwhere(_mixed_cells(inside))
    i, j, k = np.moveaxis(cells[:, None, :] + CORNERS, -1, 0)
    return contour_cells(cells, grid[i, j, k] - level, origin_mm, spacing_mm)


def _border_touched(inside: BoolArray) -> bool:
    return any(bool(np.take(inside, end, axis=axis).any()) for axis in range(3) for end in (0, -1))


def _mixed_cells(inside: BoolArray) -> BoolArray:
    """Return which cells have corners on both sides, shape (nx − 1, ny − 1, nz − 1)."""
    some, every = inside, inside
    for axis in range(3):
        low = (slice(None),) * axis + (slice(None, -1),)
        high = (slice(None),) * axis + (slice(1, None),)
        some, every = some[low] | some[high], every[low] & every[high]
    return np.asarray(some & ~every)


def contour_cells(
    cells: IntArray, corner_values: FloatArray, origin_mm: ArrayLike, spacing_mm: ArrayLike
) -> tuple[FloatArray, IntArray]:
    """Return the zero surface through a sparse set of grid cells; see `contour`.

    Parameters
    ----------
    cells : (m, 3) int64
        All cells that have corners of both signs, each once, in any order.
    corner_values : (m, 8) float64
        Values at the corners ``cells + CORNERS``, equal where cells share a corner; negative inside.
    origin_mm, spacing_mm : (3,)
        Position of grid point (0, 0, 0) and distance of grid points.

    Returns
    -------
    vertices : (n, 3) float64
        Positions in mm.
    faces : (f, 3) int64
        Counter-clockwise seen from outside.

    Raises
    ------
    UsageError
        If a cell that the surface passes is missing.

    Examples
    --------
    >>> cells = np.array([[i, j, k] for i in (0, 1) for j in (0, 1) for k in (0, 1)])
    >>> at_middle = (cells[:, None] + CORNERS == 1).all(axis=2)
    >>> contour_cells(cells, np.where(at_middle, -1.0, 1.0), 0.0, 1.0)[1].shape
    (12, 3)
    """
    if len(cells) == 0:
        return np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int64)
    finder = _Finder(cells)
    cells, corner_values = finder.cells, np.asarray(corner_values, dtype=np.float64)[finder.order]
    inside = ((corner_values < 0.0) << np.arange(8)).sum(axis=1)
    sheet = _resolve_faces(finder, inside, _tables()[0][inside])
    count = sheet.max(axis=1) + 1
    first = np.cumsum(count) - count
    number = np.where(sheet >= 0, sheet + first[:, None], -1)
    crossing = _crossings(corner_values)
    local = _mean_crossing(number, crossing, int(count.sum()))
    owner = np.repeat(np.arange(len(cells)), count)
    single = (count == 1)[owner]
    local[single] = _relax(local[single], corner_values[owner[single]])
    quads, edge_cell, edge = _quads(finder, number, inside)
    points = cells[owner] + local
    points, faces = _split(points, quads, cells[edge_cell], edge, crossing[edge_cell, edge])
    return np.asarray(origin_mm, np.float64) + points * np.asarray(spacing_mm, np.float64), faces


class _Finder:
    """The row of a cell by its place on the grid."""

    def __init__(self, cells: IntArray) -> None:
        self._low = cells.min(axis=0) - 1
        self._shape = cells.max(axis=0) - self._low + 2
        keys = self._key(np.asarray(cells, dtype=np.int64))
        self.order = np.argsort(keys, kind="stable")
        self._keys = keys[self.order]
        self.cells = np.asarray(cells, dtype=np.int64)[self.order]

    def _key(self, cells: IntArray) -> IntArray:
        x, y, z = np.moveaxis(cells - self._low, -1, 0)
        return np.asarray((x * self._shape[1] + y) * self._shape[2] + z)

    def rows(self, cells: IntArray) -> IntArray:
        """Return the row of each of (n, 3) cells, −1 where there is none."""
        keys = self._key(cells)
        row = np.minimum(np.searchsorted(self._keys, keys), len(self._keys) - 1)
        return np.where(self._keys[row] == keys, row, -1)


def _resolve_faces(finder: _Finder, inside: IntArray, sheet: IntArray) -> IntArray:
    """Return the sheet table with faces flipped that one sheet crosses twice on both sides.

    A flip parts the sheet in both cells and never joins sheets, so one pass over the faces is enough.
    """
    twice = _tables()[1][inside]
    flips: dict[int, int] = {}
    for axis in range(3):
        row = np.flatnonzero(twice[:, 2 * axis + 1])
        if len(row) == 0:
            continue
        other = finder.rows(finder.cells[row] + np.eye(3, dtype=np.int64)[axis])
        both = (other >= 0) & twice[other, 2 * axis]
        for p, q in zip(row[both].tolist(), other[both].tolist(), strict=True):
            sides = ((p, 2 * axis + 1), (q, 2 * axis))
            if all(_one_sheet_twice(int(inside[r]), f, flips.get(r, 0)) for r, f in sides):
                for r, f in sides:
                    flips[r] = flips.get(r, 0) | 1 << f
    for r, flipped in flips.items():
        sheet[r] = sheets(int(inside[r]), flipped)
    return sheet


def _crossings(corner_values: FloatArray) -> FloatArray:
    """Return where the surface cuts each cell edge, 0 to 1 along it, shape (m, 12); 0.5 where it does not."""
    start, stop = corner_values[:, EDGES[:, 0]], corner_values[:, EDGES[:, 1]]
    cut = (start < 0.0) != (stop < 0.0)
    t = np.full(start.shape, 0.5)
    np.divide(start, start - stop, out=t, where=cut)
    return np.clip(t, _T_LOW, 1.0 - _T_LOW, out=t)


def _mean_crossing(number: IntArray, crossing: FloatArray, vertex_count: int) -> FloatArray:
    """Return the mean of each sheet's edge crossings within its cell, shape (n, 3), 0 to 1."""
    total = np.zeros((vertex_count, 3))
    members = np.zeros(vertex_count)
    for e, (p, _) in enumerate(EDGES):
        rows = np.flatnonzero(number[:, e] >= 0)
        vertex = number[rows, e]
        place = np.tile(CORNERS[p].astype(np.float64), (len(rows), 1))
        place[:, e // 4] = crossing[rows, e]
        total[vertex] += place  # an edge occurs once per cell, so no vertex repeats here
        members[vertex] += 1.0
    return total / members[:, None]


def _relax(local: FloatArray, corner_values: FloatArray) -> FloatArray:
    """Return the vertices moved along the gradient onto the trilinear interpolant, kept in their cells."""
    start = local
    weights = corner_values.reshape(-1, 2, 2, 2)  # axes z, y, x
    for _ in range(_RELAX_STEPS):
        x, y, z = local.T
        along_x = weights[..., 0] + (weights[..., 1] - weights[..., 0]) * x[:, None, None]
        along_y = along_x[..., 0] + (along_x[..., 1] - along_x[..., 0]) * y[:, None]
        value = along_y[:, 0] + (along_y[:, 1] - along_y[:, 0]) * z
        slope_x = weights[..., 1] - weights[..., 0]
        slope_x = slope_x[..., 0] + (slope_x[..., 1] - slope_x[..., 0]) * y[:, None]
        slope_y = along_x[..., 1] - along_x[..., 0]
        gradient = np.stack(
            [
                slope_x[:, 0] + (slope_x[:, 1] - slope_x[:, 0]) * z,
                slope_y[:, 0] + (slope_y[:, 1] - slope_y[:, 0]) * z,
                along_y[:, 1] - along_y[:, 0],
            ],
            axis=1,
        )
        square = np.maximum((gradient**2).sum(axis=1), 1e-300)
        step = np.clip(-(value / square)[:, None] * gradient, -_RELAX_REACH, _RELAX_REACH)
        step[~np.isfinite(step)] = 0.0
        local = np.clip(local + step, 0.02, 0.98)
        local = np.clip(local, start - _RELAX_REACH, start + _RELAX_REACH)
    return local


def _quads(finder: _Finder, number: IntArray, inside: IntArray) -> tuple[IntArray, IntArray, IntArray]:
    """Return the outward vertices (q, 4) of the quadrangle around each cut edge, the edge's cell and number.

    Each grid edge is taken from the cell in which it starts at corner 0.
    """
    found: list[tuple[IntArray, IntArray, IntArray]] = []
    for a, b, c in _AXES:
        cell = np.flatnonzero(number[:, 4 * a] >= 0)
        ring = []
        for s, t in _RING:
            step = np.zeros(3, dtype=np.int64)
            step[b], step[c] = s, t
            row = cell if s + t == 0 else finder.rows(finder.cells[cell] - step)
            ring.append(np.where(row >= 0, number[row, 4 * a + s + 2 * t], -1))
        quad = np.stack(ring, axis=1)
        starts_inside = (inside[cell] & 1).astype(bool)
        quad[~starts_inside] = quad[~starts_inside][:, ::-1]
        found.append((quad, cell, np.full(len(cell), 4 * a)))
    quads, cells, edges = (np.concatenate(part) for part in zip(*found, strict=True))
    if quads.min(initial=0) < 0 or 4 * len(quads) != (number >= 0).sum():
        raise UsageError(
            "The surface leaves the given cells.", remedy="Give every cell with corners on both sides."
        )
    return quads, cells, edges


def _split(
    points: FloatArray, quads: IntArray, corner: IntArray, edge: IntArray, crossing: FloatArray
) -> tuple[FloatArray, IntArray]:
    """Return all points and triangles: each quadrangle split by a sound diagonal, or about its grid edge."""
    axis = edge // 4
    order = np.array(_AXES)[axis]
    corners = np.take_along_axis(points[quads] - corner[:, None, :], order[:, None, :], axis=2)
    sound = np.stack([_diagonal_is_sound(corners), _diagonal_is_sound(np.roll(corners, -1, axis=1))])
    lengths = np.linalg.norm(corners[:, [0, 1]] - corners[:, [2, 3]], axis=2).T
    lengths[1] *= 1.0 + 1e-9  # equal diagonals are split the same way on every machine
    choice = np.argmin(np.where(sound, lengths, np.inf), axis=0)
    fan = ~sound.any(axis=0)
    turned = np.where((choice == 1)[:, None], np.roll(quads, -1, axis=1), quads)[~fan]
    middle = corner[fan].astype(np.float64)
    middle[np.arange(len(middle)), axis[fan]] += crossing[fan]
    hub = len(points) + np.arange(len(middle))
    around = quads[fan]
    pieces = [turned[:, [0, 1, 2]], turned[:, [0, 2, 3]]]
    pieces += [np.column_stack([hub, around[:, i], around[:, (i + 1) % 4]]) for i in range(4)]
    return np.vstack([points, middle]), np.concatenate(pieces)


def _diagonal_is_sound(corners: FloatArray) -> BoolArray:
    """Tell whether splitting from corner 0 to 2 keeps both triangles between the grid edge and the sides.

    `corners` (q, 4, 3) are in a frame in which the grid edge runs from 0 to 1 along the first axis.
    """
    height, flat = corners[..., 0], corners[..., 1:]
    start, stop = flat[:, 0], flat[:, 2]
    side = _cross(start, stop)
    turn = np.sign(_cross(start, flat[:, 1]) + _cross(flat[:, 1], stop))
    near = np.where(side * turn > 0.0, 1, 3)  # the corner on the diagonal's own side of the edge
    rows = np.arange(len(corners))
    tip, tip_height = flat[rows, near], height[rows, near]
    far, far_height = flat[rows, 4 - near], height[rows, 4 - near]
    with np.errstate(divide="ignore", invalid="ignore"):
        along = _cross(tip, start) / (_cross(tip, start) - _cross(tip, stop))
        meet = start + along[:, None] * (stop - start)
        reach = (meet * tip).sum(axis=1) / (tip * tip).sum(axis=1)
        meet_height = height[:, 0] + along * (height[:, 2] - height[:, 0])
        low, high = reach * tip_height, reach * tip_height + 1.0 - reach
        weights = np.stack([_cross(stop, far), _cross(far, start), _cross(start, stop)])
        axis_height = (weights * np.stack([height[:, 0], height[:, 2], far_height])).sum(axis=0)
        axis_height = axis_height / weights.sum(axis=0)
        inside = (reach >= 0.0) & (reach < 1.0) & (meet_height > low) & (meet_height < high)
        return np.asarray(inside & (axis_height > 0.0) & (axis_height < 1.0))


def _cross(first: FloatArray, second: FloatArray) -> FloatArray:
    return np.asarray(first[..., 0] * second[..., 1] - first[..., 1] * second[..., 0])

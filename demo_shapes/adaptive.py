"""Closed surfaces of implicit shapes on grid cells of several sizes, fine only where detail is wanted.

Dual contouring on an octree (T. Ju, F. Losasso, S. Schaefer, J. Warren, "Dual contouring of Hermite data",
SIGGRAPH 2002), with one vertex per sheet in a cell, moved onto the field along its gradient.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from demo_shapes.fields import Field
from mirrorprep.errors import GeometryError

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_CORNERS = np.array([[c & 1, c >> 1 & 1, c >> 2 & 1] for c in range(8)], dtype=np.int64)
_AXES = ((0, 1, 2), (1, 2, 0), (2, 0, 1))
_BITS = 20
_NEAR_SLACK = 1.8
_NEWTON_STEPS = 2
_EVENING_ROUNDS = 2
_RING = ((0, 0), (1, 0), (1, 1), (0, 1))


@dataclass(frozen=True, slots=True, eq=False)
class Lattice:
    """The finest grid: positions are ``low_mm + step_mm * integer``; cells span 2^level steps.

    Attributes
    ----------
    low_mm : (3,) float64
        Position of grid point (0, 0, 0).
    step_mm : float
        Finest cell size.
    coarsest : int
        Highest level a cell may keep.
    wanted : callable
        Takes (n, 3) positions, gives the level wanted there, 0 for the finest.
    slack : float
        How much faster than a true distance the field may change.
    """

    low_mm: FloatArray
    step_mm: float
    coarsest: int
    wanted: Callable[[FloatArray], IntArray]
    slack: float

    def place(self, grid: IntArray | NDArray[np.floating]) -> FloatArray:
        """Return positions in mm."""
        return np.asarray(self.low_mm + self.step_mm * grid)


def _key(grid: IntArray) -> IntArray:
    return np.asarray((grid[..., 0] << 2 * _BITS) | (grid[..., 1] << _BITS) | grid[..., 2])


def _distinct(keys: IntArray) -> IntArray:
    """Return the sorted distinct keys; faster than the hashing of `numpy.unique`."""
    ordered = np.sort(keys)
    fresh = np.ones(len(ordered), dtype=bool)
    fresh[1:] = ordered[1:] != ordered[:-1]
    return np.asarray(ordered[fresh])


def _unkey(keys: IntArray) -> IntArray:
    mask = (1 << _BITS) - 1
    return np.stack([keys >> 2 * _BITS, keys >> _BITS & mask, keys & mask], axis=-1)


def _finest(points: FloatArray) -> IntArray:
    return np.zeros(len(points), dtype=np.int64)


def surface(
    field: Field,
    bounds_mm: ArrayLike,
    *,
    step_mm: float,
    coarsest: int = 0,
    wanted: Callable[[FloatArray], IntArray] | None = None,
    slack: float = 1.6,
) -> tuple[FloatArray, IntArray]:
    """Return vertices and faces of the zero surface of `field`, outward.

    Parameters
    ----------
    field : callable
        Takes (n, 3) positions in mm, gives (n,) approximate signed distances, negative inside.
    bounds_mm : (2, 3)
        A box that holds the whole surface.
    step_mm : float
        Finest cell size; cells of level l are ``step_mm * 2**l`` wide.
    coarsest : int
        Highest level used.
    wanted : callable, optional
        Level wanted at positions (n, 3); everywhere 0 by default.
    slack : float
        Upper bound of the field's gradient.

    Returns
    -------
    vertices : (n, 3) float64
        On the surface to within the Newton steps, mm.
    faces : (m, 3) int64
        Closed; certify the result before use. (0, 3) where the field has no surface.

    Raises
    ------
    GeometryError
        If the field changes faster than `slack` allows, as far as that leaves a gap.

    Examples
    --------
    >>> from demo_shapes.fields import ball
    >>> vertices, faces = surface(lambda p: ball(p, (0, 0, 0), 10.0), [[-11] * 3, [11] * 3], step_mm=1.0)
    >>> bool(np.abs(np.linalg.norm(vertices, axis=1) - 10.0).max() < 1e-3)
    True
    """
    low, high = np.asarray(bounds_mm, dtype=np.float64)
    lattice = Lattice(low, step_mm, coarsest, wanted or _finest, slack)
    leaves = _leaves(field, lattice, high)
    values = _corner_values(field, lattice, leaves)
    edges = _cut_edges(leaves, values)
    if len(edges.start) == 0:
        return np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int64)
    around = _cells_around(leaves, edges)
    quads = _sheets(edges, around)
    crossings = _mean_crossings(edges, quads)
    owner = np.zeros(len(crossings), dtype=np.int64)
    owner[quads.ravel()] = around.ravel()
    points = _settled(field, lattice, _Cells.of(leaves, values, owner), crossings)
    faces = _triangles(points, quads, edges.starts_inside)
    return _evened(field, points, faces, step_mm), faces


def _leaves(field: Field, lattice: Lattice, high: FloatArray) -> list[IntArray]:
    """Return for each level the low corners, in finest steps, of the cells that may hold surface."""
    top = lattice.coarsest + 4
    size = 1 << top
    count = np.ceil((high - lattice.low_mm) / (lattice.step_mm * size)).astype(np.int64) + 1
    cells = size * np.stack(np.meshgrid(*map(np.arange, count), indexing="ij"), axis=-1).reshape(-1, 3)
    leaves: list[IntArray] = [np.zeros((0, 3), dtype=np.int64)] * (lattice.coarsest + 1)
    for level in range(top, -1, -1):
        half = 0.5 * (1 << level)
        middle = lattice.place(cells + half)
        slack = _NEAR_SLACK + (lattice.slack - _NEAR_SLACK) * min(level / 4.0, 1.0)
        reach = slack * np.sqrt(3.0) * half * lattice.step_mm
        near = np.abs(field(middle)) <= reach
        cells, middle = cells[near], middle[near]
        if level <= lattice.coarsest:
            stays = (lattice.wanted(middle) >= level) | (level == 0)
            leaves[level] = cells[stays]
            cells = cells[~stays]
        if level:
            cells = (cells[:, None, :] + _CORNERS * (1 << level - 1)).reshape(-1, 3)
    return leaves


@dataclass(frozen=True, slots=True, eq=False)
class _Values:
    keys: IntArray
    values: FloatArray

    def at(self, grid: IntArray) -> FloatArray:
        return np.asarray(self.values[np.searchsorted(self.keys, _key(grid))])


def _corner_values(field: Field, lattice: Lattice, leaves: list[IntArray]) -> _Values:
    corners = [_key(cells[:, None, :] + _CORNERS * (1 << level)) for level, cells in enumerate(leaves)]
    keys = _distinct(np.concatenate([part.ravel() for part in corners]))
    return _Values(keys, field(lattice.place(_unkey(keys))))


@dataclass(frozen=True, slots=True, eq=False)
class _Edges:
    """Shortest edges that the surface cuts: start, axis, length in steps, cut place 0 to 1, direction."""

    start: IntArray
    axis: IntArray
    length: IntArray
    crossing: FloatArray
    starts_inside: NDArray[np.bool_]


def _cut_edges(leaves: list[IntArray], values: _Values) -> _Edges:
    parts: list[tuple[IntArray, int, int, FloatArray, FloatArray]] = []
    for axis in range(3):
        finer = np.zeros(0, dtype=np.int64)
        b, c = (axis + 1) % 3, (axis + 2) % 3
        for level, cells in enumerate(leaves):
            size = 1 << level
            shifts = np.zeros((4, 3), dtype=np.int64)
            shifts[:, b], shifts[:, c] = [0, size, 0, size], [0, 0, size, size]
            keys = _distinct(_key(cells[:, None, :] + shifts).ravel())
            alone = keys[~np.isin(keys, finer, assume_unique=True)]
            start = _unkey(alone)
            first, last = values.at(start), values.at(start + size * np.eye(3, dtype=np.int64)[axis])
            cut = (first < 0.0) != (last < 0.0)
            parts.append((start[cut], axis, size, first[cut], last[cut]))
            finer = _parents(_distinct(np.concatenate([keys, finer])), axis, size)
    start = np.concatenate([part[0] for part in parts])
    axes = np.concatenate([np.full(len(part[0]), part[1]) for part in parts])
    length = np.concatenate([np.full(len(part[0]), part[2]) for part in parts])
    first = np.concatenate([part[3] for part in parts])
    last = np.concatenate([part[4] for part in parts])
    return _Edges(start, axes, length, first / (first - last), first < 0.0)


def _parents(keys: IntArray, axis: int, size: int) -> IntArray:
    """Return the keys of the edges twice as long that contain these."""
    grid = _unkey(keys)
    b, c = (axis + 1) % 3, (axis + 2) % 3
    aligned = (grid[:, b] % (2 * size) == 0) & (grid[:, c] % (2 * size) == 0)
    grid = grid[aligned]
    grid[:, axis] -= grid[:, axis] % (2 * size)
    return _distinct(_key(grid))


def _cells_around(leaves: list[IntArray], edges: _Edges) -> IntArray:
    """Return the four leaf numbers around each edge, counter-clockwise seen from its far end, (e, 4)."""
    found = np.full((len(edges.start), 4), -1, dtype=np.int64)
    for k, (s, t) in enumerate(_RING):
        cell = edges.start.copy()
        rows = np.arange(len(cell))
        cell[rows, (edges.axis + 1) % 3] -= s
        cell[rows, (edges.axis + 2) % 3] -= t
        first = 0
        for level, cells in enumerate(leaves):
            keys = _key(cells)
            order = np.argsort(keys)
            wanted = _key(cell - cell % (1 << level))
            spot = np.minimum(np.searchsorted(keys[order], wanted), max(len(keys) - 1, 0))
            if len(keys):
                hit = keys[order][spot] == wanted
                found[hit, k] = first + order[spot[hit]]
            first += len(cells)
    if (found < 0).any():
        raise GeometryError(
            "The shape's field changes too fast for its grid.", remedy="Raise the slack of the contouring."
        )
    return found


def _sheets(edges: _Edges, around: IntArray) -> IntArray:
    """Return the vertex number of each quadrangle's corners, (e, 4): one per leaf and sheet in it.

    Quadrangles meet at the sides where the surface passes from leaf to leaf. Where two sheets pass one face,
    inside corners are kept apart, or outside corners if that would join the two leaves by one edge twice.
    """
    count = len(around)
    end = edges.start.copy()
    end[np.arange(count), edges.axis] += edges.length
    first, last = _key(edges.start), _key(end)
    inner = np.repeat(np.where(edges.starts_inside, first, last), 4)
    outer = np.repeat(np.where(edges.starts_inside, last, first), 4)
    here, there = around.ravel(), np.roll(around, -1, axis=1).ravel()
    side = np.flatnonzero(here != there)
    low, high = np.minimum(here, there)[side], np.maximum(here, there)[side]
    _, group, uses = np.unique(low * (int(around.max()) + 1) + high, return_inverse=True, return_counts=True)
    shared = uses[group] > 2
    parted = np.where(shared, inner[side], 0)
    corner = _joined(here, there, side[np.lexsort((parted, group))], count)
    ends = np.sort(np.stack([corner.ravel(), np.roll(corner, -1, axis=1).ravel()], axis=1)[side], axis=1)
    _, twin, twins = np.unique(ends[:, 0] * (4 * count) + ends[:, 1], return_inverse=True, return_counts=True)
    double = np.isin(group, group[twins[twin] > 2])
    if not double.any():
        return corner
    parted = np.where(double, outer[side], parted)
    return _joined(here, there, side[np.lexsort((parted, group))], count)


def _joined(here: IntArray, there: IntArray, sides: IntArray, count: int) -> IntArray:
    """Return vertex numbers after joining the quadrangles along consecutive pairs of `sides`."""
    node = np.arange(4 * count)
    after = np.roll(node.reshape(-1, 4), -1, axis=1).ravel()
    within = here == there
    first, second = sides[::2], sides[1::2]
    same_way = here[first] == here[second]
    links = [
        (node[within], after[within]),
        (node[first], np.where(same_way, node[second], after[second])),
        (after[first], np.where(same_way, after[second], node[second])),
    ]
    rows, columns = (np.concatenate(part) for part in zip(*links, strict=True))
    graph = coo_array((np.ones(len(rows), dtype=np.int8), (rows, columns)), shape=(4 * count,) * 2)
    return np.asarray(connected_components(graph, directed=False)[1].reshape(-1, 4), dtype=np.int64)


def _mean_crossings(edges: _Edges, quads: IntArray) -> FloatArray:
    """Return for each vertex the mean of the places where the surface cuts its edges, in steps."""
    place = edges.start.astype(np.float64)
    place[np.arange(len(place)), edges.axis] += edges.crossing * edges.length
    member = quads.ravel()
    share = np.bincount(member).astype(np.float64)
    return np.stack([np.bincount(member, np.repeat(place[:, a], 4)) / share for a in range(3)], axis=1)


@dataclass(frozen=True, slots=True, eq=False)
class _Cells:
    """The leaf of each vertex: low corner and size in steps, and the values at its eight corners."""

    low: IntArray
    size: IntArray
    corner: FloatArray

    @classmethod
    def of(cls, leaves: list[IntArray], values: _Values, owner: IntArray) -> "_Cells":
        """Return the leaves with the given numbers."""
        low = np.concatenate(leaves)[owner]
        sizes = np.concatenate([np.full(len(cells), 1 << level) for level, cells in enumerate(leaves)])
        size = sizes[owner][:, None]
        corners = np.asarray(low[:, None, :] + size[:, :, None] * _CORNERS, dtype=np.int64)
        return cls(low, size, values.at(corners))


def _settled(field: Field, lattice: Lattice, cells: _Cells, start: FloatArray) -> FloatArray:
    """Return the vertices moved onto the surface along the gradient within their leaves, in mm."""
    place = start
    for _ in range(_NEWTON_STEPS):
        local = (place - cells.low) / cells.size
        slope = _slope(local, cells.corner) / (cells.size * lattice.step_mm)
        square = np.maximum((slope * slope).sum(axis=1), 0.1)
        step = (field(lattice.place(place)) / square)[:, None] * slope / lattice.step_mm
        place = cells.low + np.clip(place - step - cells.low, -0.2 * cells.size, 1.2 * cells.size)
    return lattice.place(place)


def _slope(local: FloatArray, corner: FloatArray) -> FloatArray:
    """Return the gradient of the trilinear interpolant at places 0 to 1 in each cell, (n, 3)."""
    weight = np.where(_CORNERS == 1, local[:, None, :], 1.0 - local[:, None, :])
    sign = 2.0 * _CORNERS - 1.0
    return np.stack(
        [(corner * sign[:, a] * weight[:, :, b] * weight[:, :, c]).sum(axis=1) for a, b, c in _AXES], axis=1
    )


def _triangles(points: FloatArray, quads: IntArray, starts_inside: NDArray[np.bool_]) -> IntArray:
    """Return triangles from quadrangles of which two neighbouring corners may agree."""
    quads = np.where(starts_inside[:, None], quads, quads[:, ::-1])
    corner = points[quads]
    lengths = np.linalg.norm(corner[:, [0, 1]] - corner[:, [2, 3]], axis=2)
    shorter = lengths[:, 1] < (1.0 - 1e-9) * lengths[:, 0]  # equal diagonals: the same way on every machine
    turned = np.where(shorter[:, None], np.roll(quads, -1, axis=1), quads)
    faces = np.concatenate([turned[:, [0, 1, 2]], turned[:, [0, 2, 3]]])
    a, b, c = faces.T
    return np.asarray(faces[(a != b) & (b != c) & (c != a)])


def _evened(field: Field, points: FloatArray, faces: IntArray, step_mm: float) -> FloatArray:
    """Return the vertices spread more evenly along the surface and set back onto it."""
    count = len(points)
    rows = faces.ravel()
    around = coo_array(
        (np.ones(len(rows)), (rows, faces[:, [1, 2, 0]].ravel())), shape=(count, count)
    ).tocsr()
    valence = around.sum(axis=1)
    for _ in range(_EVENING_ROUNDS):
        a, b, c = np.moveaxis(points[faces], 1, 0)
        normal = np.cross(b - a, c - a)
        normal = np.stack([np.bincount(rows, np.repeat(normal[:, k], 3), count) for k in range(3)], axis=1)
        normal /= np.maximum(np.linalg.norm(normal, axis=1), 1e-12)[:, None]
        shift = 0.5 * (around @ points / valence[:, None] - points)
        shift -= np.einsum("ij,ij->i", shift, normal)[:, None] * normal
        points = points + shift
        back = np.clip(field(points), -0.2 * step_mm, 0.2 * step_mm)
        points = points - back[:, None] * normal
    return points

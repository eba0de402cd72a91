"""Nodes of a contour-following parting surface, and the heights between which each must stay."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mirrorprep.geometry.column_raster import ColumnGrid, Columns, columns_at, raster
from mirrorprep.mould.parting_guide import Guide

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

PUSH_SHARE = 3e-4
"""How far outline nodes are pushed outward, as a share of the shadow's size: 0.03 mm on 100 mm. A surface
through the outline itself leaves slivers in the halves that do not survive rounding to float32."""

_SLACK_SHARE = 0.5
"""The heights at the outline are those of the column this share of the push inside it: 0.015 mm on 100 mm. A
scan's exact outline runs up and down over every facet of a steep wall; this slack, far below what a print
resolves, takes about a quarter of that away and adds about 1e-5 of the volume to what is trapped."""

_CORE_SHARE = 0.15
"""Inside the outline the surface keeps this share of a column's length away from bottom and top, so that
it never touches the part except where it pierces it at the outline."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class PartingNodes:
    """Where the surface has nodes, and within which box each must stay.

    Attributes
    ----------
    uv : (n, 2) float64
        Places; they fill a rectangle.
    low_mm, high_mm : (n,) float64
        Bounds of the height, infinite outside the part's shadow.
    outline : (n,) bool
        Nodes beside the part's outline.
    border : (n,) bool
        Nodes on the edge of the rectangle.
    held : (n,) bool
        Nodes within a guide of given height.
    group : (n,) int64
        Nodes of one number share one height (a level pad).
    loops : tuple of (k, 2) float64
        The part's outline as it is.
    spacing_mm : float
        Distance between the finest nodes.
    """

    uv: FloatArray
    low_mm: FloatArray
    high_mm: FloatArray
    outline: BoolArray
    border: BoolArray
    held: BoolArray
    group: IntArray
    loops: tuple[FloatArray, ...]
    spacing_mm: float

    @property
    def bounded(self) -> BoolArray:
        """Nodes that have a bound."""
        return np.asarray(np.isfinite(self.low_mm) | np.isfinite(self.high_mm))


def parting_nodes(
    vertices: FloatArray,
    faces: IntArray,
    loops: Sequence[FloatArray],
    *,
    margin_mm: float,
    guides: Sequence[Guide] = (),
    columns: int = 112,
) -> PartingNodes:
    """Lay nodes over a part's shadow and margin, and bound their heights by the part's columns.

    Parameters
    ----------
    vertices, faces
        The part in the pull frame.
    loops : sequence of (k, 2)
        Its outline, outer loops counter-clockwise, holes clockwise.
    margin_mm : float
        How far the nodes reach beyond the outline's box.
    guides : sequence of Guide
        Strips and pads outside the outline.
    columns : int
        Nodes along the longer side of the shadow.

    Returns
    -------
    PartingNodes
        A grid, coarser with the distance from outline and guides, and the outline's own vertices.

    Notes
    -----
    A height field between bottom and top of every column traps no more than the gaps within the columns. At
    the outline bottom and top meet; there the bounds are taken from the column a hair inside, which also
    holds where two edges cross in the shadow and on walls along the pull.
    """
    corners = np.vstack(loops)
    low, high = corners.min(axis=0), corners.max(axis=0)
    size = float((high - low).max())
    grid = _node_grid(low - margin_mm, high + margin_mm, size / columns)
    rim, inset = _outline_nodes(loops, push_mm=PUSH_SHARE * size, step_mm=0.5 * grid.spacing_mm)
    free = ~columns_at(rim, vertices, faces).filled
    rim, inset = rim[free], inset[free]
    kept, border, inside = _graded(grid, rim, raster(vertices, faces, grid), guides)
    bounds = [_bounds(inside, _CORE_SHARE), _bounds(columns_at(inset, vertices, faces), 0.0)]
    uv = np.vstack([grid.points_uv[kept], rim])
    nodes = PartingNodes(
        uv=uv,
        low_mm=np.concatenate([bounds[0][0], bounds[1][0]]),
        high_mm=np.concatenate([bounds[0][1], bounds[1][1]]),
        outline=np.arange(len(uv)) >= len(kept),
        border=np.concatenate([border, np.zeros(len(rim), dtype=bool)]),
        held=np.zeros(len(uv), dtype=bool),
        group=np.arange(len(uv)),
        loops=tuple(loops),
        spacing_mm=grid.spacing_mm,
    )
    return _guided(nodes, guides)


def with_probes(nodes: PartingNodes, uv: FloatArray, met: Columns) -> PartingNodes:
    """Return the nodes with more of them where columns are missed; those too close to a node are left out."""
    from scipy.spatial import cKDTree

    clear = cKDTree(nodes.uv).query(uv)[0] > 0.15 * nodes.spacing_mm
    low, high = _bounds(met, _CORE_SHARE)
    count = int(clear.sum())
    none = np.zeros(count, dtype=bool)
    return PartingNodes(
        uv=np.vstack([nodes.uv, uv[clear]]),
        low_mm=np.concatenate([nodes.low_mm, low[clear]]),
        high_mm=np.concatenate([nodes.high_mm, high[clear]]),
        outline=np.concatenate([nodes.outline, none]),
        border=np.concatenate([nodes.border, none]),
        held=np.concatenate([nodes.held, none]),
        group=np.concatenate([nodes.group, len(nodes.uv) + np.arange(count)]),
        loops=nodes.loops,
        spacing_mm=nodes.spacing_mm,
    )


def _node_grid(low: FloatArray, high: FloatArray, spacing: float) -> ColumnGrid:
    """Return a grid that covers the rectangle, with a multiple of four steps each way."""
    steps = 4 * np.maximum(np.ceil((high - low) / (4.0 * spacing)).astype(int), 1)
    origin = (low + high) / 2.0 - spacing * steps / 2.0
    return ColumnGrid(origin_uv=origin, spacing_mm=spacing, shape=(int(steps[0]) + 1, int(steps[1]) + 1))


def _outline_nodes(
    loops: Sequence[FloatArray], *, push_mm: float, step_mm: float
) -> tuple[FloatArray, FloatArray]:
    """Return points a little outside the outline and points half as far inside it, pair by pair."""
    outside, inside = [np.zeros((0, 2))], [np.zeros((0, 2))]
    for loop in loops:
        points = _stepped(_spaced(loop, 2.0 * push_mm), step_mm)
        if len(points) < 3:
            continue
        along = np.roll(points, -1, axis=0) - points
        along /= np.linalg.norm(along, axis=1)[:, None]
        normal = np.column_stack([along[:, 1], -along[:, 0]])
        middle = normal + np.roll(normal, 1, axis=0)
        middle /= np.maximum(np.linalg.norm(middle, axis=1), 1e-9)[:, None]
        reach = middle / np.clip((middle * normal).sum(axis=1), 0.5, 1.0)[:, None]
        outside.append(points + push_mm * reach)
        inside.append(points - _SLACK_SHARE * push_mm * reach)
    return np.vstack(outside), np.vstack(inside)


def _spaced(loop: FloatArray, least_mm: float) -> FloatArray:
    """Drop vertices that follow the last one kept too closely."""
    kept = [0]
    for i in range(1, len(loop)):
        if np.hypot(*(loop[i] - loop[kept[-1]])) > least_mm:
            kept.append(i)
    if len(kept) > 1 and np.hypot(*(loop[kept[-1]] - loop[0])) <= least_mm:
        kept.pop()
    return loop[kept]


def _stepped(loop: FloatArray, step_mm: float) -> FloatArray:
    """Divide edges that are longer than a step."""
    edge = np.roll(loop, -1, axis=0) - loop
    parts = np.maximum(np.ceil(np.linalg.norm(edge, axis=1) / step_mm).astype(int), 1)
    owner = np.repeat(np.arange(len(loop)), parts)
    place = np.arange(len(owner)) - np.repeat(np.cumsum(parts) - parts, parts)
    return np.asarray(loop[owner] + edge[owner] * (place / parts[owner])[:, None])


def _graded(
    grid: ColumnGrid, rim: FloatArray, met: Columns, guides: Sequence[Guide]
) -> tuple[IntArray, BoolArray, Columns]:
    """Return which grid nodes to keep, which of them lie on the edge, and their columns."""
    from scipy.spatial import cKDTree

    step, points = grid.spacing_mm, grid.points_uv
    away = cKDTree(rim).query(points, distance_upper_bound=9.0 * step)[0]
    fine = met.filled | (away < 3.0 * step)
    for guide in guides:
        fine |= guide.distance_mm(points) < guide.half_width_mm + 2.0 * step
    i, j = np.divmod(np.arange(grid.count), grid.shape[1])
    even, fourth = (i % 2 == 0) & (j % 2 == 0), (i % 4 == 0) & (j % 4 == 0)
    kept = np.flatnonzero((away > 0.5 * step) & (fine | (even & (away < 8.0 * step)) | fourth))
    edge = (i % (grid.shape[0] - 1) == 0) | (j % (grid.shape[1] - 1) == 0)
    return kept, edge[kept], met.at(kept)


def _bounds(met: Columns, core_share: float) -> tuple[FloatArray, FloatArray]:
    length = np.where(met.filled, met.top_mm - met.bottom_mm, 0.0) if len(met.top_mm) else np.zeros(0)
    low = np.where(met.filled, met.bottom_mm + core_share * length, -np.inf)
    return low, np.where(met.filled, met.top_mm - core_share * length, np.inf)


def _guided(nodes: PartingNodes, guides: Sequence[Guide]) -> PartingNodes:
    """Hold the nodes within guides; the part's own bounds come first."""
    low, high, group = nodes.low_mm.copy(), nodes.high_mm.copy(), nodes.group.copy()
    fixed = nodes.held.copy()
    open_nodes = ~nodes.bounded & ~nodes.outline
    for number, guide in enumerate(guides):
        reach = max(guide.half_width_mm, 1.5 * nodes.spacing_mm)
        within = open_nodes & (guide.distance_mm(nodes.uv) <= reach)
        if guide.floats:
            group[within] = -1 - number
        else:
            low[within] = high[within] = guide.height_mm(nodes.uv[within])
            fixed |= within
        open_nodes &= ~within
    return PartingNodes(
        uv=nodes.uv,
        low_mm=low,
        high_mm=high,
        outline=nodes.outline,
        border=nodes.border,
        held=fixed,
        group=group,
        loops=nodes.loops,
        spacing_mm=nodes.spacing_mm,
    )

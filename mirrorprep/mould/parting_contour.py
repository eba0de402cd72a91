"""Contour-following parting surface: a membrane between bottom and top of the part's columns."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from mirrorprep.geometry.column_raster import ColumnGrid, Columns, raster
from mirrorprep.geometry.height_field import HeightField, triangulated, widened
from mirrorprep.geometry.membrane import relax, stiffness
from mirrorprep.mould.parting_guide import Guide
from mirrorprep.mould.parting_nodes import PartingNodes, parting_nodes, with_probes

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

STEEPEST_LAND_DEG = 45.0
"""The land (the surface outside the part) is levelled toward its edge as far as this slope allows."""

_CLAMPED_SHARE = 1.0 / 3.0
"""The slope is judged beyond this share of the margin; nearer, the land must follow the outline."""

_MISSED_SHARE = 3e-5
_MOST_REFINEMENTS = 3
_ROUGH_COLUMNS = 40


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Probes:
    """Columns of the part on a grid that is turned against the nodes, to see what a surface misses.

    Attributes
    ----------
    grid : ColumnGrid
        In turned coordinates.
    turn : (3, 3) float64
        Rotation about the pull from the pull frame; ``p_turned = p @ turn``.
    columns : Columns
        Of the part.
    """

    grid: ColumnGrid
    turn: FloatArray
    columns: Columns

    def missed_mm(self, field: HeightField) -> FloatArray:
        """Return per column how far the surface lies outside the part's bottom and top."""
        over = widened(field, 1.0)
        height = raster(over.points_mm @ self.turn, over.triangles, self.grid).top_mm
        return self.columns.missed_mm(height)

    def missed_mm3(self, field: HeightField) -> float:
        """Return what the surface traps beyond the bound."""
        return float(self.missed_mm(field).sum()) * self.grid.cell_area_mm2

    @property
    def volume_mm3(self) -> float:
        """Volume of the part by columns."""
        return float(self.columns.thickness_mm.sum()) * self.grid.cell_area_mm2


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class ContourSheet:
    """A contour-following surface with its land.

    Attributes
    ----------
    field : HeightField
        The surface.
    steepest_deg : float
        Steepest angle of the land beyond a third of the margin.
    levelled : float
        1 when the land's edge is level, 0 when it runs out freely because a level edge would be too steep.
    loops_mm : tuple of (k, 3) float64
        The outline with the surface's heights.
    """

    field: HeightField
    steepest_deg: float
    levelled: float
    loops_mm: tuple[FloatArray, ...]


def contour_sheet(
    vertices: FloatArray,
    faces: IntArray,
    loops: Sequence[FloatArray],
    *,
    probes: Probes,
    margin_mm: float,
    guides: Sequence[Guide] = (),
    start: HeightField | None = None,
) -> ContourSheet:
    """Return the membrane through the part's columns, level at its edge where that is not too steep.

    Parameters
    ----------
    vertices, faces
        The part in the pull frame.
    loops : sequence of (k, 2)
        Its outline, from the solid kernel's projection.
    probes : Probes
        The part's columns; where the surface misses one, it gets a node there.
    margin_mm : float
        Width of the land.
    guides : sequence of Guide
        Strips and pads to pass through.
    start : HeightField, optional
        A rough surface to start from; it saves time and does not change the result.

    Returns
    -------
    ContourSheet
        Any mixture of two membranes within the bounds is within the bounds too, so the land's edge can be
        levelled by degrees.
    """
    nodes = parting_nodes(vertices, faces, loops, margin_mm=margin_mm, guides=guides)
    sheet = _Sheet.over(nodes)
    first = np.full(len(nodes.uv), sheet.level_mm) if start is None else start.at(nodes.uv)
    flat = sheet.relaxed(first, level_edge=True)
    for _ in range(_MOST_REFINEMENTS):
        missed = probes.missed_mm(flat)
        if missed.sum() * probes.grid.cell_area_mm2 <= _MISSED_SHARE * probes.volume_mm3:
            break
        sheet, flat = _refined(sheet, flat, probes, np.flatnonzero(missed > 0.0))
    return _levelled(sheet, flat, margin_mm)


def rough_sheet(
    vertices: FloatArray, faces: IntArray, loops: Sequence[FloatArray], *, margin_mm: float
) -> ContourSheet:
    """Return about the same membrane on few nodes: heights to plan channels, keys and bolts by."""
    nodes = parting_nodes(vertices, faces, loops, margin_mm=margin_mm, columns=_ROUGH_COLUMNS)
    sheet = _Sheet.over(nodes)
    flat = sheet.relaxed(np.full(len(nodes.uv), sheet.level_mm), level_edge=True)
    return _levelled(sheet, flat, margin_mm)


def _levelled(sheet: "_Sheet", flat: HeightField, margin_mm: float) -> ContourSheet:
    """Let the land's edge run out freely as far as a level one would be too steep."""
    away = sheet.land_beyond(_CLAMPED_SHARE * margin_mm)
    field, levelled = flat, 1.0
    if _steepest(flat, away) > STEEPEST_LAND_DEG:
        loose = sheet.relaxed(flat.height_mm, level_edge=False)
        field, levelled = _most_level(flat, loose.height_mm, away)
    return ContourSheet(
        field=field,
        steepest_deg=_steepest(field, away),
        levelled=levelled,
        loops_mm=_lifted(sheet.nodes, field),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Sheet:
    """Nodes, their triangles and the membrane's stiffness."""

    nodes: PartingNodes
    triangles: IntArray
    matrix: csr_array

    @classmethod
    def over(cls, nodes: PartingNodes) -> "_Sheet":
        triangles = triangulated(nodes.uv)
        return cls(nodes, triangles, stiffness(nodes.uv, triangles))

    @property
    def level_mm(self) -> float:
        """Height midway between the lowest and the highest point of the outline."""
        met = np.isfinite(self.nodes.low_mm) & np.isfinite(self.nodes.high_mm)
        rim = met & self.nodes.outline if (met & self.nodes.outline).any() else met
        middle = (self.nodes.low_mm[rim] + self.nodes.high_mm[rim]) / 2.0
        return float(middle.min() + middle.max()) / 2.0

    def relaxed(self, start_mm: FloatArray, *, level_edge: bool) -> HeightField:
        nodes, low, high = self.nodes, self.nodes.low_mm, self.nodes.high_mm
        if level_edge:
            edge = nodes.border & ~nodes.bounded & (nodes.group >= 0)
            low, high = np.where(edge, self.level_mm, low), np.where(edge, self.level_mm, high)
        height = relax(self.matrix, low, high, start_mm=start_mm, groups=nodes.group)
        return HeightField(nodes_uv=nodes.uv, height_mm=height, triangles=self.triangles)

    def land_beyond(self, distance_mm: float) -> BoolArray:
        """Return the triangles outside the part, at least so far from its outline."""
        from scipy.spatial import cKDTree

        away = cKDTree(self.nodes.uv[self.nodes.outline]).query(self.nodes.uv)[0]
        outside = self.nodes.border | ~np.isfinite(self.nodes.low_mm) | (self.nodes.group < 0)
        outside |= self.nodes.held
        return np.asarray((outside & (away >= distance_mm))[self.triangles].all(axis=1))


def _refined(sheet: _Sheet, flat: HeightField, probes: Probes, which: IntArray) -> tuple[_Sheet, HeightField]:
    """Add nodes at missed columns and relax again from the heights so far."""
    uv = probes.grid.points_uv[which] @ probes.turn[:2, :2].T
    nodes = with_probes(sheet.nodes, uv, probes.columns.at(which))
    finer = _Sheet.over(nodes)
    added = flat.at(nodes.uv[len(sheet.nodes.uv) :])
    return finer, finer.relaxed(np.concatenate([flat.height_mm, added]), level_edge=True)


def _steepest(field: HeightField, where: BoolArray) -> float:
    return float(field.slopes_deg()[where].max(initial=0.0))


def _most_level(flat: HeightField, loose_mm: FloatArray, away: BoolArray) -> tuple[HeightField, float]:
    """Mix the level-edged membrane with the loose one: as level as the slope limit allows."""

    def mixed(share: float) -> HeightField:
        height = share * flat.height_mm + (1.0 - share) * loose_mm
        return HeightField(nodes_uv=flat.nodes_uv, height_mm=height, triangles=flat.triangles)

    steepness = {share: _steepest(mixed(share), away) for share in np.linspace(1.0, 0.0, 21).tolist()}
    limit = max(STEEPEST_LAND_DEG, min(steepness.values()))
    share = next(share for share, steepest in steepness.items() if steepest <= limit)
    return mixed(share), share


def _lifted(nodes: PartingNodes, field: HeightField) -> tuple[FloatArray, ...]:
    from scipy.spatial import cKDTree

    rim = np.flatnonzero(nodes.outline)
    tree = cKDTree(nodes.uv[rim])
    return tuple(np.column_stack([loop, field.height_mm[rim[tree.query(loop)[1]]]]) for loop in nodes.loops)

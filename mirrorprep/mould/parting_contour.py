"""Contour-following parting surface: a membrane between bottom and top of the part's columns."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mirrorprep.geometry.height_field import HeightField, triangulated
from mirrorprep.geometry.membrane import relax, stiffness
from mirrorprep.mould.parting_guide import Guide
from mirrorprep.mould.parting_nodes import PartingNodes, parting_nodes

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

STEEPEST_LAND_DEG = 45.0
"""The land (the surface outside the part) is levelled toward its edge as far as this slope allows."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class ContourSheet:
    """A contour-following surface with its land.

    Attributes
    ----------
    field : HeightField
        The surface.
    land : (m,) bool
        Triangles outside the outline, where the halves meet.
    steepest_deg : float
        Steepest angle of the land that does not touch the outline.
    levelled : float
        1 when the land's edge is level, 0 when it runs out freely because a level edge would be too steep.
    loops_mm : tuple of (k, 3) float64
        The outline with the surface's heights.
    """

    field: HeightField
    land: NDArray[np.bool_]
    steepest_deg: float
    levelled: float
    loops_mm: tuple[FloatArray, ...]


def contour_sheet(
    vertices: FloatArray,
    faces: IntArray,
    loops: Sequence[FloatArray],
    *,
    margin_mm: float,
    guides: Sequence[Guide] = (),
) -> ContourSheet:
    """Return the membrane through the part's columns, level at its edge where that is not too steep.

    Parameters
    ----------
    vertices, faces
        The part in the pull frame.
    loops : sequence of (k, 2)
        Its outline, from the solid kernel's projection.
    margin_mm : float
        Width of the land.
    guides : sequence of Guide
        Strips and pads to pass through.

    Returns
    -------
    ContourSheet
        Any mixture of two membranes within the bounds is within the bounds too, so the land's edge can be
        levelled by degrees.
    """
    nodes = parting_nodes(vertices, faces, loops, margin_mm=margin_mm, guides=guides)
    triangles = triangulated(nodes.uv)
    matrix = stiffness(nodes.uv, triangles)
    rim = nodes.outline & nodes.bounded
    middle = (nodes.low_mm[rim] + nodes.high_mm[rim]) / 2.0
    level = float(middle.min() + middle.max()) / 2.0
    edge = nodes.border & ~nodes.bounded & (nodes.group >= 0)
    low, high = np.where(edge, level, nodes.low_mm), np.where(edge, level, nodes.high_mm)
    flat = relax(matrix, low, high, start_mm=np.full(len(low), level), groups=nodes.group)
    land = (~nodes.bounded | nodes.border | nodes.outline)[triangles].all(axis=1)
    away = land & ~nodes.outline[triangles].any(axis=1)
    field = HeightField(nodes_uv=nodes.uv, height_mm=flat, triangles=triangles)
    levelled = 1.0
    if _steepest(field, away) > STEEPEST_LAND_DEG:
        loose = relax(matrix, nodes.low_mm, nodes.high_mm, start_mm=flat, groups=nodes.group)
        field, levelled = _most_level(field, loose, away)
    return ContourSheet(
        field=field,
        land=land,
        steepest_deg=_steepest(field, away),
        levelled=levelled,
        loops_mm=_lifted(nodes, field),
    )


def _steepest(field: HeightField, where: NDArray[np.bool_]) -> float:
    return float(field.slopes_deg()[where].max(initial=0.0))


def _most_level(
    flat: HeightField, loose_mm: FloatArray, away: NDArray[np.bool_]
) -> tuple[HeightField, float]:
    """Mix the level-edged membrane with the loose one: as level as the slope limit allows."""

    def mixed(share: float) -> HeightField:
        height = share * flat.height_mm + (1.0 - share) * loose_mm
        return HeightField(nodes_uv=flat.nodes_uv, height_mm=height, triangles=flat.triangles)

    limit = max(STEEPEST_LAND_DEG, _steepest(mixed(0.0), away))
    shares = np.linspace(1.0, 0.0, 21)
    share = next(float(s) for s in shares if _steepest(mixed(float(s)), away) <= limit)
    return mixed(share), share


def _lifted(nodes: PartingNodes, field: HeightField) -> tuple[FloatArray, ...]:
    from scipy.spatial import cKDTree

    rim = np.flatnonzero(nodes.outline)
    tree = cKDTree(nodes.uv[rim])
    return tuple(np.column_stack([loop, field.height_mm[rim[tree.query(loop)[1]]]]) for loop in nodes.loops)

"""The rising-level kernel: up to which level the air in each column still reaches an opening."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import breadth_first_order, connected_components, minimum_spanning_tree

from mirrorprep.geometry.cavity_columns import CavityColumns, neighbour_links

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
Opening = tuple[ArrayLike, float]
Touched = tuple[IntArray, FloatArray]
"""The pieces of columns that an opening touches and the level up to which it drains each."""


Links = tuple[IntArray, IntArray]


def touched_by(
    columns: CavityColumns, links: Links, openings: Sequence[Opening]
) -> tuple[list[Touched], tuple[int, ...]]:
    """Return for each opening the pieces it touches and the level up to which it drains them.

    Also returns the openings that touch nothing. Without openings the highest point counts as one.
    """
    if not openings:
        highest = highest_piece(columns, links)
        return [(highest, columns.top_mm[highest])], ()
    plan = columns.plan_mm
    touched = [_touch(columns, plan, np.asarray(point, dtype=np.float64), r) for point, r in openings]
    return touched, tuple(i for i, (pieces, _) in enumerate(touched) if len(pieces) == 0)


def highest_piece(columns: CavityColumns, links: Links) -> IntArray:
    """Return the highest piece, shape (1,), of the largest connected part of the cavity.

    A column that grazes a tip can stand alone, cut off from the rest at this spacing.
    """
    labels = _joined_pieces(len(columns.top_mm), *links)
    volume = np.bincount(labels, weights=columns.top_mm - columns.bottom_mm)
    inside = np.flatnonzero(labels == int(np.argmax(volume)))
    return inside[[int(np.argmax(columns.top_mm[inside]))]]


def _joined_pieces(count: int, first: IntArray, second: IntArray) -> IntArray:
    graph = csr_array((np.ones(len(first)), (first, second)), shape=(count, count))
    _, labels = connected_components(graph, directed=False)
    return np.asarray(labels, dtype=np.int64)


def _touch(columns: CavityColumns, plan: FloatArray, point: FloatArray, radius: float) -> Touched:
    local = columns.frame @ point
    reach = max(float(radius), 0.0) + 1.5 * columns.spacing_mm
    beside = np.einsum("ij,ij->i", plan - local[:2], plan - local[:2])
    near = np.flatnonzero(beside <= reach**2)
    half = np.sqrt(reach**2 - beside[near])
    meets = (columns.top_mm[near] >= local[2] - half) & (columns.bottom_mm[near] <= local[2] + half)
    pieces = near[meets]
    return pieces, np.minimum(columns.top_mm[pieces], local[2] + half[meets])


def escape_levels(columns: CavityColumns, links: Links, touched: list[Touched]) -> FloatArray:
    """Return for each piece the highest level at which its air still reaches an opening."""
    count = len(columns.top_mm)
    pieces, levels = _highest(touched)
    low, high = links
    level = np.concatenate([np.minimum(columns.top_mm[low], columns.top_mm[high]), levels])
    rows = np.concatenate([low, np.full(len(pieces), count)])
    weight = 1.0 + level.max(initial=-np.inf) - level
    graph = csr_array((weight, (rows, np.concatenate([high, pieces]))), shape=(count + 1, count + 1))
    tree = minimum_spanning_tree(graph)
    _, before = breadth_first_order(tree, count, directed=False, return_predecessors=True)
    parent = np.where(before < 0, count, before).astype(np.int64)
    tops = np.append(columns.top_mm, np.inf)
    escape = np.minimum(tops, tops[parent])
    outer = parent == count
    escape[outer] = -np.inf
    escape[pieces] = np.where(outer[pieces], levels, escape[pieces])
    escape[count] = np.inf
    while np.any(parent != count):
        escape = np.minimum(escape, escape[parent])
        parent = parent[parent]
    return np.asarray(escape[:count])


def _highest(touched: list[Touched]) -> Touched:
    """Return the touched pieces, each once, with the highest level that drains it."""
    pieces = np.concatenate([pieces for pieces, _ in touched])
    levels = np.concatenate([levels for _, levels in touched])
    order = np.argsort(-levels, kind="stable")
    found, first = np.unique(pieces[order], return_index=True)
    return found, levels[order][first]


def air_left_mm3(columns: CavityColumns, escape: FloatArray) -> FloatArray:
    """Return the air that stays in each piece, mm³."""
    length = columns.top_mm - np.clip(escape, columns.bottom_mm, columns.top_mm)
    return np.asarray(length * columns.spacing_mm**2)


def connected_air(columns: CavityColumns, links: Links, escape: FloatArray) -> IntArray:
    """Return a label for each piece; pieces that keep air of the same pocket have the same one."""
    first, second = links
    meet = np.minimum(columns.top_mm[first], columns.top_mm[second])
    joined = meet > np.maximum(escape[first], escape[second])
    return _joined_pieces(len(escape), first[joined], second[joined])


def lost_volumes_mm3(columns: CavityColumns) -> tuple[float, float]:
    """Return the air trapped along the columns' up and against it, each with its highest point open."""
    links = neighbour_links(columns)
    turned = replace(columns, bottom_mm=-columns.top_mm, top_mm=-columns.bottom_mm)
    return _lost(columns, links), _lost(turned, links)


def _lost(columns: CavityColumns, links: Links) -> float:
    touched, _ = touched_by(columns, links, ())
    return float(air_left_mm3(columns, escape_levels(columns, links, touched)).sum())

"""Welding: finding the points that share a place, exactly or within a tolerance."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from mirrorprep.errors import UsageError

FloatArray = NDArray[np.float32] | NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]
Bits = NDArray[np.unsignedinteger]

_MIX_A = np.uint64(0x9E3779B97F4A7C15)
_MIX_B = np.uint64(0xC2B2AE3D27D4EB4F)
_MIX_C = np.uint64(0x165667B19E3779F9)
_MIX_D = np.uint64(0xD6E8FEB86659FD93)
_SHIFT = np.uint64(32)
MAX_PAIRS = 10_000_000
"""Neighbouring pairs that a tolerance may make before it is refused as too large."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Weld:
    """Which points become one.

    Attributes
    ----------
    kept : (k,) int64
        The point that stands for each welded point: the first of its group, in rising order.
    label : (n,) int64
        The row in `kept` that each point became.
    """

    kept: IntArray
    label: IntArray

    @property
    def merged(self) -> int:
        """How many points vanished into another."""
        return len(self.label) - len(self.kept)


def weld_exact(points: FloatArray) -> Weld:
    """Group points whose three coordinates are equal bit for bit (0 and −0 count as equal).

    Parameters
    ----------
    points : (n, 3) float32 or float64
        Positions; never changed.

    Returns
    -------
    Weld
        The groups in the order in which their first points occur.

    Notes
    -----
    The coordinates are hashed to the upper bits of a 64-bit key whose lower bits are the point's number;
    one sort of plain integers brings equal places together in order. Every neighbour is then compared
    coordinate by coordinate, and places that only share a hash are parted again, so that the answer is
    exact for any input.

    Examples
    --------
    >>> weld_exact(np.array([[1.0, 2, 3], [0, 0, 0], [1, 2, 3], [-0.0, 0, 0]])).label.tolist()
    [0, 1, 0, 1]
    """
    count = len(points)
    if count == 0:
        return Weld(kept=np.zeros(0, dtype=np.int64), label=np.zeros(0, dtype=np.int64))
    bits = _bits(points)
    order, starts = _order_by_hash(bits)
    _part_collisions(bits, order, starts)
    return _weld_from_order(order, starts)


def _bits(points: FloatArray) -> Bits:
    """Return the coordinates as unsigned integers of their own width, −0 turned into 0."""
    plain: NDArray[Any] = np.array(points, order="C")
    plain += 0  # turns −0 into 0 and leaves all other bits alone
    return np.asarray(plain.view(np.uint32 if plain.dtype == np.float32 else np.uint64))


def _order_by_hash(bits: Bits) -> tuple[IntArray, BoolArray]:
    """Return point numbers grouped by hash, rising within a group, and where groups start."""
    count = len(bits)
    low_bits = int(count - 1).bit_length()
    key = bits[:, 0] * _MIX_A
    key += bits[:, 1] * _MIX_B
    key ^= key >> _SHIFT
    key += bits[:, 2] * _MIX_C
    key *= _MIX_D
    key ^= key >> _SHIFT
    key *= _MIX_A
    low = np.uint64((1 << low_bits) - 1)
    key &= ~low
    key |= np.arange(count, dtype=np.uint64)
    key.sort()
    order = (key & low).astype(np.int64)
    key >>= np.uint64(low_bits)
    return order, _starts(key[1:] != key[:-1])


def _starts(changes: BoolArray) -> BoolArray:
    return np.concatenate([np.ones(1, dtype=np.bool_), changes])


def _part_collisions(bits: Bits, order: IntArray, starts: BoolArray) -> None:
    """Sort groups that hold different places by those places and part them; changes both arrays."""
    ranked = np.take(bits, order, axis=0)
    mixed = _changes(ranked) & ~starts[1:]
    if not mixed.any():
        return
    group = np.cumsum(starts) - 1
    is_mixed = np.zeros(group[-1] + 1, dtype=np.bool_)
    is_mixed[group[1:][mixed]] = True
    rows = np.flatnonzero(is_mixed[group])
    group, ranked = group[rows], ranked[rows]
    sorting = np.lexsort((ranked[:, 2], ranked[:, 1], ranked[:, 0], group))
    ranked = ranked[sorting]
    order[rows] = order[rows][sorting]
    starts[rows] = _starts(_changes(ranked) | (group[1:] != group[:-1]))


def _changes(rows: Bits) -> BoolArray:
    """Return where a row differs from the one before it."""
    a, b, c = rows.T
    return np.asarray((a[1:] != a[:-1]) | (b[1:] != b[:-1]) | (c[1:] != c[:-1]))


def _weld_from_order(order: IntArray, starts: BoolArray) -> Weld:
    """Return groups numbered by their first point; within a group the order is already rising."""
    heads = order[starts]
    is_head = np.zeros(len(order), dtype=np.bool_)
    is_head[heads] = True
    number = np.cumsum(is_head, dtype=np.int64) - 1
    label = np.empty(len(order), dtype=np.int64)
    label[order] = number[heads][np.cumsum(starts) - 1]
    return Weld(kept=np.flatnonzero(is_head), label=label)


def weld_within(points: FloatArray, tolerance_mm: float) -> Weld:
    """Group points that are linked by steps of at most `tolerance_mm`.

    Chains join: three points in a row, each within the tolerance of the next, become one. The first point
    of a group stands for it, so no position is invented.

    Parameters
    ----------
    points : (n, 3) float
        Positions in mm.
    tolerance_mm : float
        Zero welds exactly.

    Returns
    -------
    Weld
        The groups in the order in which their first points occur.

    Raises
    ------
    UsageError
        If the tolerance is negative or not finite, or so large that more than `MAX_PAIRS` pairs of
        different places lie within it.

    Examples
    --------
    >>> weld_within(np.array([[0.0, 0, 0], [0.05, 0, 0], [1, 0, 0]]), 0.1).label.tolist()
    [0, 0, 1]
    """
    if not 0.0 <= tolerance_mm < np.inf:
        raise UsageError(
            f"A welding tolerance of {tolerance_mm} mm is not possible.", remedy="Give 0 mm or more."
        )
    exact = weld_exact(points)
    if tolerance_mm == 0.0 or len(exact.kept) < 2:
        return exact
    places = np.asarray(points[exact.kept], dtype=np.float64)
    group = _linked(places, tolerance_mm)
    order = np.argsort(group, kind="stable")
    near = _weld_from_order(order, _starts(np.diff(group[order]) != 0))
    return Weld(kept=exact.kept[near.kept], label=near.label[exact.label])


def _linked(places: NDArray[np.float64], tolerance_mm: float) -> NDArray[np.int32]:
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    tree = cKDTree(places)
    pairs_twice = int(tree.count_neighbors(tree, tolerance_mm)) - len(places)
    if pairs_twice > 2 * MAX_PAIRS:
        raise UsageError(
            f"A welding tolerance of {tolerance_mm:g} mm links {pairs_twice // 2} pairs of vertices "
            f"(limit {MAX_PAIRS}).",
            remedy="Give a tolerance well under the point spacing.",
        )
    pairs = tree.query_pairs(tolerance_mm, output_type="ndarray")
    links = (np.ones(len(pairs), dtype=np.int8), (pairs[:, 0], pairs[:, 1]))
    graph = coo_array(links, shape=(len(places),) * 2)
    return np.asarray(connected_components(graph, directed=False)[1], dtype=np.int32)

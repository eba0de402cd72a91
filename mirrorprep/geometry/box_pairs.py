"""Pairs of axis-aligned boxes that overlap: a hierarchy of hash grids, vectorised."""

from collections import deque
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial
from typing import Final

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_CHUNK: Final = 1 << 19
_THREADS: Final = 2
_LONGEST_AXIS_CELLS: Final = 1 << 20


@dataclass(frozen=True, slots=True, eq=False)
class _Entries:
    """Boxes listed once per grid cell they touch, sorted by cell, members of the level first."""

    box: NDArray[np.int32]
    offset: NDArray[np.uint8]
    count: IntArray


def overlapping_boxes(low: FloatArray, high: FloatArray) -> Iterator[tuple[IntArray, IntArray]]:
    """Yield every unordered pair of overlapping closed boxes exactly once, in chunks.

    Parameters
    ----------
    low, high : (n, 3) float64
        Corners of the boxes.

    Yields
    ------
    first, second : (k,) int64
        Numbers of the two boxes of each pair, in no particular order.

    Notes
    -----
    Boxes are sorted into levels by their longest side; on each level a box covers at most two cells per
    axis, so that a pair is counted only in the cell where, on each axis, one of the two starts. Smaller
    boxes are looked up in the cells of each larger level. Boxes are compared in single precision, rounded
    outward: a few pairs that miss each other by less than that rounding are yielded too. Two threads work
    ahead; the order of the pairs does not depend on them.

    Source: C. Ericson, Real-Time Collision Detection (2005), section 7.2 (hierarchical grids), from memory.

    Examples
    --------
    >>> low = np.array([[0.0, 0, 0], [0.5, 0, 0], [5, 5, 5]])
    >>> [(sorted((int(i), int(j)))) for a, b in overlapping_boxes(low, low + 1) for i, j in zip(a, b)]
    [[0, 1]]
    """
    if len(low) < 2:
        return
    center = (low.min(axis=0) + high.max(axis=0)) / 2.0
    floor = _rounded(low - center, -np.inf)
    ceiling = _rounded(high - center, np.inf)
    start = floor.min(axis=0).astype(np.float64)
    extent = (ceiling - floor).max(axis=1).astype(np.float64)
    finest = _finest_cell(extent, float((ceiling.max(axis=0) - start).max()))
    with np.errstate(divide="ignore"):
        level = np.maximum(np.ceil(np.log2(extent / finest)), 0).astype(np.int64)
    for number in np.unique(level):
        cell = finest * 2.0 ** float(number)
        entries = _entries(floor - start, ceiling - start, level, int(number), cell)
        yield from _pairs_in_cells(entries, floor, ceiling)


def boxes_near(low: FloatArray, high: FloatArray, marked: NDArray[np.bool_]) -> IntArray:
    """Return the boxes that may overlap a marked one, the marked ones included, and some more.

    Parameters
    ----------
    low, high : (n, 3) float64
        Corners of the boxes.
    marked : (n,) bool
        Boxes whose surroundings are wanted.

    Examples
    --------
    >>> low = np.array([[0.0, 0, 0], [0.5, 0, 0], [5, 5, 5]])
    >>> boxes_near(low, low + 1, np.array([True, False, False])).tolist()
    [0, 1]
    """
    if not marked.any():
        return np.zeros(0, dtype=np.int64)
    start, stop = low[marked].min(axis=0), high[marked].max(axis=0)
    inside = np.flatnonzero(((high >= start) & (low <= stop)).all(axis=1))
    span = (high[marked] - low[marked]).max()
    cell = max(
        float(span), float((stop - start).max()) / _LONGEST_AXIS_CELLS, float(np.finfo(np.float32).tiny)
    )
    hit = np.any((high[inside] - low[inside]) > cell, axis=1)
    first = np.floor((low[inside] - start) / cell).astype(np.int64) + 1
    spans = np.floor((high[inside] - start) / cell).astype(np.int64) + 1 > first
    base = first @ np.array([1, 1 << 21, 1 << 42], dtype=np.int64)
    chosen = marked[inside]
    wanted = np.unique(np.concatenate([key for key, _, _ in _covered(base[chosen], spans[chosen])]))
    for key, rows, _ in _covered(base, spans):
        hit[rows] |= _contains(wanted, key)
    return np.asarray(inside[hit])


def _rounded(values: FloatArray, toward: float) -> NDArray[np.float32]:
    single = values.astype(np.float32)
    return np.asarray(np.nextafter(single, np.float32(toward)))


def _finest_cell(extent: FloatArray, longest_axis: float) -> float:
    usual = float(np.quantile(extent, 0.95)) * (1.0 + 1e-6)
    return max(usual, longest_axis / _LONGEST_AXIS_CELLS, float(np.finfo(np.float32).tiny))


def _entries(
    low: NDArray[np.float32], high: NDArray[np.float32], level: IntArray, number: int, cell: float
) -> _Entries:
    considered = np.flatnonzero(level <= number).astype(np.int32)
    first = np.floor(low[considered] / cell).astype(np.int64)
    spans = np.floor(high[considered] / cell).astype(np.int64) > first
    strides = np.array([1, 1 << 21, 1 << 42], dtype=np.int64)
    base = first @ strides
    member = level[considered] == number
    wanted = None
    if member.mean() < 0.3:
        wanted = np.unique(np.concatenate([key for key, _, _ in _covered(base[member], spans[member])]))
    keys, boxes, offsets = [], [], []
    for key, rows, step in _covered(base, spans):
        keep = slice(None) if wanted is None else _contains(wanted, key)
        keys.append(key[keep])
        boxes.append(rows[keep])
        offsets.append(np.full(len(keys[-1]), step, dtype=np.uint8))
    key, row, offset = np.concatenate(keys), np.concatenate(boxes), np.concatenate(offsets)
    order = _sorting(_compact(key) * 2 + ~member[row])
    key, row = key[order], row[order]
    ends = np.flatnonzero(np.append(key[1:] != key[:-1], True)) + 1
    end = np.repeat(ends, np.diff(ends, prepend=0))
    count = np.where(member[row], end - 1 - np.arange(len(key)), 0)
    return _Entries(considered[row], offset[order], count)


def _compact(keys: IntArray) -> IntArray:
    """Return the keys with the unused range of each axis taken out, in the same order of cells."""
    parts = [(keys >> (21 * axis)) & ((1 << 21) - 1) for axis in range(3)]
    spans = [int(part.max(initial=0)) + 1 for part in parts]
    return np.asarray((parts[2] * spans[1] + parts[1]) * spans[0] + parts[0])


def _sorting(keys: IntArray) -> IntArray:
    """Return the stable order of the keys; one sort of plain integers where key and place fit together."""
    bits = max(len(keys).bit_length(), 1)
    if int(keys.max(initial=0)).bit_length() + bits >= 63:
        return np.argsort(keys, kind="stable")
    packed = (keys << bits) | np.arange(len(keys))
    packed.sort()
    return packed & ((1 << bits) - 1)


def _covered(base: IntArray, spans: NDArray[np.bool_]) -> Iterator[tuple[IntArray, IntArray, int]]:
    """Yield cell keys, rows and offset (a bit per axis) for each of the eight cells a box can touch."""
    for offset in range(8):
        steps = [(offset >> axis) & 1 for axis in range(3)]
        rows = np.flatnonzero(
            np.logical_and.reduce([spans[:, a] for a in range(3) if steps[a]] or [spans[:, 0] | True])
        )
        yield base[rows] + sum(step << (21 * axis) for axis, step in enumerate(steps)), rows, offset


def _contains(table: IntArray, keys: IntArray) -> NDArray[np.bool_]:
    place = np.searchsorted(table, keys)
    place[place == len(table)] = 0
    return np.asarray(table[place] == keys)


def _pairs_in_cells(
    entries: _Entries, low: NDArray[np.float32], high: NDArray[np.float32]
) -> Iterator[tuple[IntArray, IntArray]]:
    """Yield the pairs chunk by chunk, the next ones made by other threads meanwhile."""
    sorted_low, sorted_high = low[entries.box].T.copy(), high[entries.box].T.copy()
    done = np.concatenate([[0], np.cumsum(entries.count)])
    chunk = partial(_pairs_between, entries, sorted_low, sorted_high, done)
    total = int(done[-1])
    if total <= _CHUNK:
        yield chunk(0, total)
        return
    waiting: deque[Future[tuple[IntArray, IntArray]]] = deque()
    with ThreadPoolExecutor(max_workers=_THREADS) as pool:
        for begin in range(0, total, _CHUNK):
            waiting.append(pool.submit(chunk, begin, min(begin + _CHUNK, total)))
            if len(waiting) > _THREADS:
                yield waiting.popleft().result()
        while waiting:
            yield waiting.popleft().result()


def _pairs_between(
    entries: _Entries,
    low: NDArray[np.float32],
    high: NDArray[np.float32],
    done: IntArray,
    begin: int,
    stop: int,
) -> tuple[IntArray, IntArray]:
    first = int(np.searchsorted(done, begin, side="right")) - 1
    last = int(np.searchsorted(done, stop, side="left"))
    bounds = np.clip(done[first : last + 1], begin, stop)
    counts = bounds[1:] - bounds[:-1]
    p = np.repeat(np.arange(first, last), counts)
    q = np.arange(begin, stop) - done[p] + p + 1
    keep = np.flatnonzero((entries.offset[p] & entries.offset[q]) == 0)
    for axis in range(3):
        p, q = p[keep], q[keep]
        keep = np.flatnonzero((low[axis][p] <= high[axis][q]) & (low[axis][q] <= high[axis][p]))
    return entries.box[p[keep]].astype(np.int64), entries.box[q[keep]].astype(np.int64)

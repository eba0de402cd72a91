"""The body of a PLY file: tables of numbers and lists, binary or ASCII."""

import struct
from array import array
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from mirrorprep.intake.ply_header import Element, Header, Property
from mirrorprep.intake.raw import refuse
from mirrorprep.intake.text import blocks, plain_text

IntArray = NDArray[np.int64]
_CODES = {"i1": "b", "u1": "B", "i2": "h", "u2": "H", "i4": "i", "u4": "I"}


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Table:
    """The rows of one element.

    Attributes
    ----------
    element : Element
        What the header says of it.
    columns : dict of int to array
        Place of each single-number property, and its (rows,) values.
    lists : dict of int to (sizes, values)
        Place of each list property, the (rows,) lengths of its lists and all their items in a row.
    """

    element: Element
    columns: dict[int, NDArray[Any]]
    lists: dict[int, tuple[IntArray, NDArray[Any]]]


class Body:
    """A reader that walks through the elements in file order."""

    def __init__(self, data: bytes, header: Header) -> None:
        self._ascii = not header.order
        self._order = header.order
        self._data = data
        self._at = header.body
        self._stop = len(data)
        if self._ascii:
            text = plain_text(data[header.body :])
            parts = [
                block.numbers(np.ones(len(block.counts), dtype=np.bool_))
                for block in blocks(text, line_number=header.lines + 1)
            ]
            self._flat = np.concatenate(parts) if parts else np.zeros(0)
            self._at, self._stop = 0, len(self._flat)

    @property
    def left(self) -> int:
        """Bytes (or numbers, in ASCII) that have not been read."""
        return self._stop - self._at

    def table(self, element: Element) -> Table:
        """Read the next element.

        Raises
        ------
        InputFileError
            If the file ends before it does.
        """
        if not element.properties or element.rows == 0:
            return _empty(element)
        needed = element.rows * (len(element.properties) if self._ascii else element.smallest_row)
        if needed > self.left:
            self._refuse_short(element, needed)
        return self._uniform(element) or self._walked(element)

    def _refuse_short(self, element: Element, needed: int) -> None:
        unit = "numbers" if self._ascii else "bytes"
        refuse(
            f"The file is cut short or its header is wrong: {element.rows} rows of '{element.name[:40]}' "
            f"take at least {needed} {unit}, {self.left} are left."
        )

    def _uniform(self, element: Element) -> Table | None:
        """Read rows whose lists all are as long as the first row's, or return None."""
        sizes = self._first_sizes(element)
        if sizes is None:
            return None
        rows = self._ascii_rows(element, sizes) if self._ascii else self._binary_rows(element, sizes)
        if rows is None:
            return None
        columns: dict[int, NDArray[Any]] = {}
        lists: dict[int, tuple[IntArray, NDArray[Any]]] = {}
        for place, size in enumerate(sizes):
            if size is None:
                columns[place] = rows[f"v{place}"]
            elif (rows[f"n{place}"] != size).any():
                return None
            else:
                lists[place] = np.full(element.rows, size, dtype=np.int64), rows[f"v{place}"].reshape(-1)
        self._at += element.rows * rows["step"]
        return Table(element=element, columns=columns, lists=lists)

    def _first_sizes(self, element: Element) -> list[int | None] | None:
        """Return the length of each list in the first row, None for single numbers."""
        sizes: list[int | None] = []
        at = self._at
        for entry in element.properties:
            reader = self._reader(entry)
            size = None
            if reader is not None:
                size, at = reader(at)
                if size < 0:
                    return None
            sizes.append(size)
            at += self._width(entry) * (1 if size is None else size)
        return sizes if at <= self._stop else None

    def _binary_rows(self, element: Element, sizes: list[int | None]) -> dict[str, Any] | None:
        fields: list[tuple[str, str, tuple[int, ...]]] = []
        for place, (entry, size) in enumerate(zip(element.properties, sizes, strict=True)):
            if size is not None:
                fields.append((f"n{place}", self._order + entry.count, ()))
            fields.append((f"v{place}", self._order + entry.item, () if size is None else (size,)))
        try:
            layout = np.dtype([(name, kind, shape) for name, kind, shape in fields])
        except ValueError:
            return None
        if layout.itemsize * element.rows > self.left:
            return None
        rows = np.frombuffer(self._data, dtype=layout, count=element.rows, offset=self._at)
        return {"step": layout.itemsize, **{name: rows[name] for name, _, _ in fields}}

    def _ascii_rows(self, element: Element, sizes: list[int | None]) -> dict[str, Any] | None:
        step = sum(1 if size is None else 1 + size for size in sizes)
        if step * element.rows > self.left:
            return None
        rows = self._flat[self._at : self._at + step * element.rows].reshape(element.rows, step)
        found: dict[str, Any] = {"step": step}
        at = 0
        for place, size in enumerate(sizes):
            if size is not None:
                found[f"n{place}"] = rows[:, at]
                at += 1
            found[f"v{place}"] = rows[:, at] if size is None else rows[:, at : at + size]
            at += 1 if size is None else size
        return found

    def _walked(self, element: Element) -> Table:
        """Read rows of uneven length one after the other."""
        starts = [array("q") for _ in element.properties]
        sizes = [array("q") for _ in element.properties]
        steps = [
            (self._reader(entry), self._width(entry), begins.append, counts.append)
            for entry, begins, counts in zip(element.properties, starts, sizes, strict=True)
        ]
        at, stop = self._at, self._stop
        for row in range(element.rows):
            for reader, width, add_start, add_size in steps:
                size = 1
                if reader is not None:
                    size, at = reader(at)
                add_start(at)
                add_size(size)
                at += size * width
                if at > stop or size < 0:
                    refuse(
                        f"The file is cut short or damaged in row {row + 1} of {element.rows} of "
                        f"'{element.name[:40]}'."
                    )
        self._at = at
        columns: dict[int, NDArray[Any]] = {}
        lists: dict[int, tuple[IntArray, NDArray[Any]]] = {}
        for place, entry in enumerate(element.properties):
            counts = np.frombuffer(sizes[place], dtype=np.int64)
            items = self._gathered(entry, np.frombuffer(starts[place], dtype=np.int64), counts)
            if entry.count:
                lists[place] = counts, items
            else:
                columns[place] = items
        return Table(element=element, columns=columns, lists=lists)

    def _width(self, entry: Property) -> int:
        return 1 if self._ascii else np.dtype(entry.item).itemsize

    def _reader(self, entry: Property) -> Callable[[int], tuple[int, int]] | None:
        """Return a function from the place of a list to its length (−1 if impossible) and its first item."""
        if not entry.count:
            return None
        stop = self._stop
        if self._ascii:
            flat = self._flat
            return lambda at: (_whole(flat[at]) if at < stop else -1, at + 1)
        unpack = struct.Struct(self._order + _CODES[entry.count])
        data, head = self._data, unpack.size
        return lambda at: (unpack.unpack_from(data, at)[0] if at + head <= stop else -1, at + head)

    def _gathered(self, entry: Property, begins: IntArray, counts: IntArray) -> NDArray[Any]:
        """Return the items that begin at the given places, all in one row."""
        width = self._width(entry)
        ahead = np.cumsum(counts) - counts
        places = np.repeat(begins - ahead * width, counts) + np.arange(int(counts.sum())) * width
        if self._ascii:
            return self._flat[places]
        # A view with a stride of one byte reads numbers at places of any alignment.
        anywhere = np.ndarray(
            shape=(max(len(self._data) - width + 1, 0),),
            dtype=self._order + entry.item,
            buffer=self._data,
            strides=(1,),
        )
        return anywhere[places]


def _empty(element: Element) -> Table:
    """Return a table without rows."""
    none = np.zeros(0, dtype=np.int64)
    places = range(len(element.properties))
    columns = {k: none for k in places if not element.properties[k].count}
    return Table(
        element=element, columns=columns, lists={k: (none, none) for k in places if k not in columns}
    )


def _whole(value: float) -> int:
    """Return a list length, or −1 for a number that cannot be one."""
    return int(value) if 0 <= value < 2**31 and value == int(value) else -1

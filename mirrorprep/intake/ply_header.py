"""The header of a PLY file: its elements, their properties, the encoding and where the body begins."""

import re
from dataclasses import dataclass
from typing import Final

import numpy as np

from mirrorprep.intake.limits import MAX_VERTICES
from mirrorprep.intake.raw import refuse

_HEADER_BYTES: Final = 2**20
_END: Final = re.compile(rb"(?:^|[\r\n])[ \t]*end_header[ \t]*(\r\n|\n|\r|$)")
_TYPES: Final = {
    **dict.fromkeys(("char", "int8"), "i1"),
    **dict.fromkeys(("uchar", "uint8"), "u1"),
    **dict.fromkeys(("short", "int16"), "i2"),
    **dict.fromkeys(("ushort", "uint16"), "u2"),
    **dict.fromkeys(("int", "int32"), "i4"),
    **dict.fromkeys(("uint", "uint32"), "u4"),
    **dict.fromkeys(("float", "float32"), "f4"),
    **dict.fromkeys(("double", "float64"), "f8"),
}
_ENCODINGS: Final = {"ascii": "", "binary_little_endian": "<", "binary_big_endian": ">"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Property:
    """One property: a number, or a list whose length comes first.

    Attributes
    ----------
    name : str
        As the file names it.
    item : str
        Number type, such as ``f4``.
    count : str
        Type of the length of a list; empty for a single number.
    """

    name: str
    item: str
    count: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Element:
    """A table of the body: its name, its number of rows and its columns."""

    name: str
    rows: int
    properties: tuple[Property, ...]

    def place(self, *names: str) -> int | None:
        """Return the place of the first property that bears one of the names, or None."""
        return next((k for k, entry in enumerate(self.properties) if entry.name in names), None)

    @property
    def smallest_row(self) -> int:
        """Bytes a binary row takes at least (every list empty)."""
        return sum(np.dtype(entry.count or entry.item).itemsize for entry in self.properties)


@dataclass(frozen=True, slots=True, kw_only=True)
class Header:
    """What the header says.

    Attributes
    ----------
    order : str
        ``<`` or ``>`` for the byte order of a binary body, empty for ASCII.
    elements : tuple of Element
        In file order.
    body : int
        Where the body begins.
    lines : int
        Lines the header takes.
    """

    order: str
    elements: tuple[Element, ...]
    body: int
    lines: int


def read_header(data: bytes) -> Header:
    """Return the header of a PLY file.

    Raises
    ------
    InputFileError
        If it does not end, or a line of it is not understood.
    """
    end = _END.search(data[:_HEADER_BYTES])
    if end is None:
        refuse(f"The PLY header does not end ('end_header' is not in the first {_HEADER_BYTES} bytes).")
    lines = re.split(rb"\r\n|\n|\r", data[: end.start(1)])
    body = end.end(1)
    if end.group(1) == b"\r\n" and b"\r" in data[: end.start(1)] and b"\n" not in data[: end.start(1)]:
        body -= 1  # lines end with a bare carriage return, so the newline is the body's first byte
    order: str | None = None
    elements: list[Element] = []
    for number, line in enumerate(lines, start=1):
        words = line.decode("latin-1").split()
        if words[:1] == ["format"]:
            order = _encoding(words)
        elif words[:1] in (["element"], ["property"]):
            _add(elements, words, number)
        elif words and words[0] not in ("ply", "comment", "obj_info", "end_header"):
            refuse(f"Line {number} of the PLY header is not understood ('{line[:60].decode('latin-1')!s}').")
    if order is None:
        refuse("The PLY header does not state the format (ascii or binary).")
    return Header(order=order, elements=tuple(elements), body=body, lines=len(lines))


def _encoding(words: list[str]) -> str:
    if len(words) < 2 or words[1] not in _ENCODINGS:
        refuse(f"The PLY format '{' '.join(words[1:])[:60]}' is none of {', '.join(_ENCODINGS)}.")
    return _ENCODINGS[words[1]]


def _add(elements: list[Element], words: list[str], number: int) -> None:
    """Add an element, or a property to the last element."""
    wrong = f"Line {number} of the PLY header is not understood ('{' '.join(words)[:60]}')."
    if words[0] == "element":
        if len(words) != 3 or not re.fullmatch(r"\d{1,18}", words[2]):
            refuse(wrong)
        rows = int(words[2])
        if rows > MAX_VERTICES:
            refuse(f"The PLY header states {rows} rows of '{words[1][:40]}' (limit {MAX_VERTICES}).")
        elements.append(Element(name=words[1], rows=rows, properties=()))
        return
    entry = _property(words[1:])
    if entry is None or not elements:
        refuse(wrong)
    last = elements[-1]
    elements[-1] = Element(name=last.name, rows=last.rows, properties=(*last.properties, entry))


def _property(words: list[str]) -> Property | None:
    if len(words) == 4 and words[0] == "list":
        count, item = _TYPES.get(words[1], "f"), _TYPES.get(words[2])
        return None if item is None or count[0] == "f" else Property(name=words[3], item=item, count=count)
    if len(words) == 2 and words[0] in _TYPES:
        return Property(name=words[1], item=_TYPES[words[0]])
    return None

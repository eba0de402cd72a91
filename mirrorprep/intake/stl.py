"""STL: three corners per triangle, binary or ASCII, without a unit.

A binary file is 80 bytes of header, a count n as a little-endian uint32, and n records of 50 bytes (twelve
float32: normal and three corners; then two attribute bytes), so it has 84 + 50 n bytes. That rule, not the
word 'solid', tells the two kinds apart, because binary headers may begin with that word too. Stored normals
are ignored: the order of the corners decides.
"""

import re
from typing import Final

import numpy as np
from numpy.typing import NDArray

from mirrorprep.intake.raw import RawMesh, caution, limit_triangles, no_triangles, note, refuse
from mirrorprep.intake.registry import Format, register
from mirrorprep.intake.text import blocks, looks_like_text, plain_text, text_head
from mirrorprep.progress import Progress
from mirrorprep.solid.finding import Finding

HEADER_BYTES: Final = 84
RECORD_BYTES: Final = 50
_REPLACEMENT: Final = b"\xef\xbf\xbd"
_TRANSFER: Final = "Transfer the file again in binary mode, or export it again."


def recognises(data: bytes) -> bool:
    """Whether the size obeys the binary rule, or the text begins like an ASCII file."""
    return _is_exact_binary(data) or _is_ascii(data)


def read(data: bytes, progress: Progress) -> RawMesh:
    """Return the triangles of an STL file, as bare corners."""
    if not _is_exact_binary(data) and _is_ascii(data):
        return _read_ascii(plain_text(data), progress)
    return _read_binary(data)


def _is_exact_binary(data: bytes) -> bool:
    return len(data) >= HEADER_BYTES and len(data) == HEADER_BYTES + RECORD_BYTES * _stated_count(data)


def _is_ascii(data: bytes) -> bool:
    head = text_head(data, 1024).lstrip()[:512].lower()
    if not head.startswith(b"solid") or not looks_like_text(head):
        return False
    return re.search(rb"\b(facet|endsolid)\b", head) is not None or len(data) > len(head)


def _stated_count(data: bytes) -> int:
    return int.from_bytes(data[80:84], "little")


def _read_binary(data: bytes) -> RawMesh:
    if len(data) < HEADER_BYTES:
        refuse(f"The file has {len(data)} bytes; a binary STL has at least {HEADER_BYTES}.")
    stated = _stated_count(data)
    room = (len(data) - HEADER_BYTES) // RECORD_BYTES
    surplus = len(data) - HEADER_BYTES - RECORD_BYTES * stated
    if surplus < 0 or (stated == 0 and room > 0):
        _refuse_size(data, stated, room)
    findings = _damage(data, surplus)
    if stated == 0:
        no_triangles()
    limit_triangles(stated)
    layout = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
    records = np.frombuffer(data, dtype=layout, count=stated, offset=HEADER_BYTES)
    if records["attribute"].any():
        message = (
            "The attribute bytes of the triangles are not zero; they have no agreed meaning and are not read."
        )
        findings.append(note("stl-attributes", message))
    corners = np.ascontiguousarray(records["corners"], dtype=np.float32).reshape(-1, 3)
    return RawMesh(vertices=corners, faces=None, findings=tuple(findings))


def _refuse_size(data: bytes, stated: int, room: int) -> None:
    expected = HEADER_BYTES + RECORD_BYTES * stated
    found = f"The header states {stated} triangles, which take {expected} bytes, but the file has {len(data)}"
    if data.count(_REPLACEMENT) > 2:
        times = data.count(_REPLACEMENT)
        refuse(
            f"{found} and holds the bytes EF BF BD {times} times: a text conversion has destroyed it.",
            _TRANSFER,
        )
    unconverted = data.replace(b"\r\n", b"\n")
    if _is_exact_binary(unconverted):
        refuse(f"{found}: a text-mode transfer has lengthened its line ends.", _TRANSFER)
    if not looks_like_text(data):
        refuse(f"{found} (room for {room} triangles): it is cut short or damaged.", _TRANSFER)
    refuse(
        "The file is neither a binary STL (84 + 50 n bytes) nor an ASCII one (it would begin with 'solid')."
    )


def _damage(data: bytes, surplus: int) -> list[Finding]:
    """Return what speaks against a binary file whose records are all there."""
    if surplus == 0:
        return []
    times = data.count(_REPLACEMENT)
    if times > 2:
        refuse(
            f"The file is {surplus} bytes longer than its triangle count allows and holds the bytes EF BF BD "
            f"{times} times: a text conversion has destroyed it.",
            _TRANSFER,
        )
    if _is_exact_binary(data.replace(b"\r\n", b"\n")):
        refuse(f"A text-mode transfer has lengthened the file's line ends ({surplus} bytes).", _TRANSFER)
    message = f"{surplus} bytes follow the last triangle; they were not read."
    return [caution("trailing-bytes", message, remedy="Compare the triangle count with the exporter's.")]


def _read_ascii(text: bytes, progress: Progress) -> RawMesh:
    parts: list[NDArray[np.float64]] = []
    facets = solids = closings = done = vertices = 0
    for block in blocks(text):
        is_vertex, is_facet = block.keyed(b"vertex"), block.keyed(b"facet")
        bad = is_vertex & (block.counts != 4)
        if bad.any():
            row = int(np.argmax(bad))
            refuse(
                f"Line {block.first_line + row} does not hold three coordinates: '{_shown(block.line(row))}'."
            )
        before = vertices + np.cumsum(is_vertex)[is_facet]
        uneven = before != 3 * (facets + np.arange(len(before)))
        if uneven.any():
            row = int(np.flatnonzero(is_facet)[np.argmax(uneven)])
            refuse(f"The facet before line {block.first_line + row} does not have three corners.")
        parts.append(block.numbers(is_vertex, skip=1).reshape(-1, 3))
        vertices += int(is_vertex.sum())
        facets += int(is_facet.sum())
        solids += int(block.keyed(b"solid").sum())
        closings += int(block.keyed(b"endsolid").sum())
        done += len(block.codes)
        progress.step("reading ASCII STL", done / len(text))
    return _ascii_mesh(parts, facets, solids, closings)


def _ascii_mesh(parts: list[NDArray[np.float64]], facets: int, solids: int, closings: int) -> RawMesh:
    count = sum(len(part) for part in parts)
    if count != 3 * facets:
        refuse(f"The file is cut short: {facets} facets begin, but {count} corners are there (3 each).")
    if facets == 0:
        no_triangles()
    limit_triangles(facets)
    findings = []
    if solids > 1:
        findings.append(
            note("several-objects", f"The file holds {solids} solids; they were read as one mesh.")
        )
    if closings == 0:
        message = "The closing word 'endsolid' is missing: the file may be cut short."
        findings.append(
            caution("cut-short", message, remedy="Compare the size with the exporter's, or export again.")
        )
    return RawMesh(vertices=np.concatenate(parts), faces=None, findings=tuple(findings))


def _shown(line: bytes) -> str:
    return line[:60].decode("ascii", "backslashreplace")


register(Format(name="stl", title="STL", suffixes=(".stl",), recognises=recognises, read=read))

"""OFF: counts, vertices and polygons as plain numbers, or as big-endian binary; no unit.

The first word may carry letters for what each vertex holds: ST (texture), C (colour), N (normal), 4 and n
(other dimensions, which are refused).
"""

import re
from typing import Any, Final, NoReturn

import numpy as np
from numpy.typing import NDArray

from mirrorprep.intake.colors import rgba
from mirrorprep.intake.faces import polygon_faces
from mirrorprep.intake.limits import MAX_VERTICES
from mirrorprep.intake.raw import RawMesh, no_triangles, refuse
from mirrorprep.intake.registry import Format, register
from mirrorprep.intake.text import blocks, looks_like_text, plain_text, text_head
from mirrorprep.progress import Progress

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]

_WORD: Final = re.compile(
    rb"\s*(?:#[^\n]*\n\s*)*(ST)?(C)?(N)?(4)?(n)?OFF(?=[\s\d#]|$)(?:[ \t]+(BINARY)[^\n]*\n)?"
)


def recognises(data: bytes) -> bool:
    """Whether the first word is OFF, with or without letters in front."""
    return _WORD.match(text_head(data, 4096)) is not None


def read(data: bytes, progress: Progress) -> RawMesh:
    """Return the mesh of an OFF file."""
    binary = re.match(rb"(C?)(N?)OFF BINARY[ \t\r]*\n", data)
    if binary is not None:
        return _read_binary(data, binary.end(), colored=bool(binary.group(1)), normals=bool(binary.group(2)))
    text = plain_text(data)
    word = _WORD.match(text)
    if word is None:
        refuse("The file does not begin with the word OFF.")
    texture, color, normal, four, other, packed = word.groups()
    if four or other or packed:
        refuse(
            f"The file is of the kind '{word.group().split()[-1].decode('latin-1')}', which is not read.",
            "Export it as plain OFF.",
        )
    if not looks_like_text(text):
        refuse("The content is binary, not the text of an OFF file.")
    # The word is blanked out in place, so that line numbers stay right.
    text = re.sub(rb"[^\n]", b" ", word.group()) + text[word.end() :]
    values, counts = _numbers(text, progress)
    extra = 3 * bool(normal) + 2 * bool(texture)
    return _mesh(values, counts, extra=extra, colored=bool(color))


def _numbers(text: bytes, progress: Progress) -> tuple[FloatArray, IntArray]:
    """Return all numbers and how many stand on each line that is not empty."""
    values, counts, done = [np.zeros(0)], [np.zeros(0, dtype=np.int64)], 0
    for block in blocks(text, comment=b"#"):
        values.append(block.numbers(block.counts > 0))
        counts.append(block.counts[block.counts > 0])
        done += len(block.codes)
        progress.step("reading OFF", min(done / len(text), 1.0))
    return np.concatenate(values), np.concatenate(counts)


def _mesh(values: FloatArray, counts: IntArray, *, extra: int, colored: bool) -> RawMesh:
    """Return the mesh from the numbers of a text file; `extra` numbers follow each position."""
    stated = _stated(values[:2])
    table, firsts = _by_lines(values, counts, stated) or (None, None)
    if table is None or firsts is None or table.shape[1] < 3 + extra:
        table, firsts = _without_lines(values, stated, 3 + extra + 4 * colored)
    sizes, corners = _polygons(values, firsts)
    triangles, findings = polygon_faces(table[:, :3], sizes, corners)
    if len(triangles) == 0:
        no_triangles(points=stated[0])
    colors = _colors(table, extra) if colored else None
    return RawMesh(vertices=table[:, :3], faces=triangles, colors=colors, findings=findings)


def _by_lines(
    values: FloatArray, counts: IntArray, stated: tuple[int, int]
) -> tuple[FloatArray, IntArray] | None:
    """Return the vertex table and the place of each face if each stands on its own line, else None.

    Only lines tell where a face ends that has colours behind its corners.
    """
    vertices, faces = stated
    widths = counts[1 : 1 + vertices]
    if counts[0] not in (2, 3) or len(counts) < 1 + vertices + faces or (widths != widths[0]).any():
        return None
    first = int(counts[0])
    firsts = (np.cumsum(counts) - counts)[1 + vertices : 1 + vertices + faces]
    missing = values[firsts] >= counts[1 + vertices : 1 + vertices + faces]
    if missing.any():
        face = int(np.argmax(missing))
        refuse(f"Face {face + 1} states {values[firsts[face]]:g} corners, but its line holds fewer.")
    table = values[first : first + vertices * int(widths[0])].reshape(vertices, -1)
    return table, firsts


def _stated(head: FloatArray) -> tuple[int, int]:
    """Return the counts of vertices and faces."""
    if len(head) < 2:
        refuse("The file does not state how many vertices and faces it holds.")
    for count in head:
        if not 0 <= count <= MAX_VERTICES or count != int(count):
            refuse(f"The file states a count of {count:g} (limit {MAX_VERTICES}).")
    if head[0] == 0:
        no_triangles()
    return int(head[0]), int(head[1])


def _without_lines(values: FloatArray, stated: tuple[int, int], width: int) -> tuple[FloatArray, IntArray]:
    """Return the vertex table and the place of each face when line ends do not tell rows apart."""
    vertices, faces = stated
    at = 3 + vertices * width
    if at + faces > len(values):
        _refuse_short(stated)
    table = values[3:at].reshape(vertices, width)
    firsts = np.empty(faces, dtype=np.int64)
    for row in range(faces):
        if at >= len(values) or not 0 <= values[at] < len(values):
            _refuse_short(stated)
        firsts[row] = at
        at += 1 + int(values[at])
    return table, firsts


def _refuse_short(stated: tuple[int, int]) -> NoReturn:
    refuse(f"The file is cut short or damaged: {stated[0]} vertices and {stated[1]} faces were stated.")


def _polygons(values: FloatArray, firsts: IntArray) -> tuple[IntArray, IntArray]:
    """Return the size of each face and all corners, from the place where each face's size stands."""
    sizes = values[firsts]
    with np.errstate(invalid="ignore"):
        wrong = ~((sizes >= 0) & (sizes == np.floor(sizes)) & (firsts + sizes < len(values)))
    if wrong.any():
        refuse(
            f"Face {int(np.argmax(wrong)) + 1} states {sizes[np.argmax(wrong)]:g} corners, "
            "which are not there."
        )
    whole = sizes.astype(np.int64)
    if int(whole.sum()) > len(values):
        refuse("The faces state more corners than the file holds.")
    ahead = np.cumsum(whole) - whole
    places = np.repeat(firsts + 1 - ahead, whole) + np.arange(int(whole.sum()))
    corners = values[places]
    if not (corners == np.floor(corners)).all():
        refuse("A face refers to a vertex by a number that is not whole.")
    return whole, np.clip(corners, -1, 2**53).astype(np.int64)


def _colors(table: NDArray[Any], extra: int) -> NDArray[np.uint8] | None:
    channels = table[:, 3 + extra :]
    if channels.shape[1] < 3:
        return None
    return rgba([channels[:, k] for k in range(min(channels.shape[1], 4))])


def _read_binary(data: bytes, at: int, *, colored: bool, normals: bool) -> RawMesh:
    """Read big-endian counts, float32 vertices, and faces that end with a number of colour components."""
    stated = np.frombuffer(data, dtype=">i4", count=2, offset=at) if len(data) >= at + 12 else np.zeros(0)
    vertices, faces = _stated(stated.astype(np.float64))
    width = 3 + 3 * normals + 4 * colored
    at += 12
    if at + 4 * vertices * width + 8 * faces > len(data):
        _refuse_short((vertices, faces))
    table = np.frombuffer(data, dtype=">f4", count=vertices * width, offset=at).astype(np.float32)
    at += 4 * vertices * width
    words = np.frombuffer(data, dtype=">i4", count=(len(data) - at) // 4, offset=at).astype(np.float64)
    firsts = np.empty(faces, dtype=np.int64)
    place = 0
    for row in range(faces):
        firsts[row] = place
        for _ in ("corners", "colours"):
            if place >= len(words) or not 0 <= words[place] < len(words):
                _refuse_short((vertices, faces))
            place += 1 + int(words[place])
    table = table.reshape(vertices, width)
    colors = _colors(table, 3 * normals) if colored else None
    triangles, findings = polygon_faces(table[:, :3], *_polygons(words, firsts))
    if len(triangles) == 0:
        no_triangles(points=vertices)
    return RawMesh(vertices=table[:, :3], faces=triangles, colors=colors, findings=findings)


register(Format(name="off", title="OFF", suffixes=(".off", ".coff"), recognises=recognises, read=read))

"""OBJ: text with vertices and polygons; absolute or negative indices, groups, vertex colours; no unit."""

import re
from typing import Final, NoReturn

import numpy as np
from numpy.typing import NDArray

from mirrorprep.intake.colors import rgba
from mirrorprep.intake.faces import polygon_faces
from mirrorprep.intake.raw import RawMesh, no_triangles, note, refuse
from mirrorprep.intake.registry import Format, register
from mirrorprep.intake.text import LineBlock, blocks, looks_like_text, parse_integers, plain_text, text_head
from mirrorprep.progress import Progress
from mirrorprep.solid.finding import Finding

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]

_START: Final = re.compile(rb"(?:^|\n)[ \t]*(?:v|vn|vt|f|o|g|mtllib|usemtl)[ \t]+\S")
_BEHIND_SLASH: Final = re.compile(rb"/[^\s]*")


def recognises(data: bytes) -> bool:
    """Whether a text begins with lines such as 'v 0 0 0', behind comments if any."""
    head = text_head(data, 2**16)
    if not looks_like_text(head):
        return False
    lines = (line.strip() for line in head.split(b"\n"))
    first = next((line for line in lines if line and not line.startswith(b"#")), b"")
    return _START.match(first + b"\n") is not None


def read(data: bytes, progress: Progress) -> RawMesh:
    """Return the mesh of an OBJ file; all its objects and groups are one mesh."""
    text = plain_text(data)
    if b"\\\n" in text:
        text = text.replace(b"\\\n", b"  ")
    if not looks_like_text(text):
        refuse("The content is binary, not the text of an OBJ file.")
    parts = _Parts()
    done = 0
    for block in blocks(text, comment=b"#"):
        parts.add(block)
        done += len(block.codes)
        progress.step("reading OBJ", min(done / len(text), 1.0))
    return parts.mesh()


class _Parts:
    """What has been gathered from the blocks so far."""

    def __init__(self) -> None:
        self._values: list[FloatArray] = []
        self._widths: list[IntArray] = []
        self._sizes: list[IntArray] = []
        self._corners: list[IntArray] = []
        self._vertices = 0
        self._objects = 0
        self._lines = 0

    def add(self, block: LineBlock) -> None:
        """Read the vertices and faces of some lines."""
        is_vertex, is_face = block.keyed(b"v"), block.keyed(b"f")
        widths = block.counts[is_vertex] - 1
        if len(widths) and widths.min() < 3:
            row = int(np.flatnonzero(is_vertex)[np.argmin(widths)])
            refuse(f"Line {block.first_line + row} holds a vertex of fewer than three coordinates.")
        self._values.append(block.numbers(is_vertex, skip=1))
        self._widths.append(widths)
        if is_face.any():
            self._add_faces(block, is_face, self._vertices + np.cumsum(is_vertex)[is_face])
        self._vertices += len(widths)
        self._objects += int(block.keyed(b"o").sum())
        self._lines += int(block.keyed(b"l").sum())

    def _add_faces(self, block: LineBlock, is_face: NDArray[np.bool_], known: IntArray) -> None:
        """Add faces; `known` counts the vertices in front of each, to which negative indices refer."""
        sizes = block.counts[is_face] - 1
        text = _BEHIND_SLASH.sub(b"", block.text(is_face, skip=1))
        numbers = parse_integers(text)
        if numbers is None or len(numbers) != int(sizes.sum()):
            self._blame(block, is_face)
        relative = numbers < 0
        corners = numbers - 1
        if relative.any():
            corners[relative] = (np.repeat(known, sizes) + numbers)[relative]
        wrong = (numbers == 0) | (corners < 0)
        if wrong.any():
            face = int(np.searchsorted(np.cumsum(sizes), int(np.argmax(wrong)), side="right"))
            line = block.first_line + int(np.flatnonzero(is_face)[face])
            refuse(
                f"The face on line {line} refers to vertex {int(numbers[wrong][0])}, which does not exist."
            )
        self._sizes.append(sizes)
        self._corners.append(corners)

    def _blame(self, block: LineBlock, is_face: NDArray[np.bool_]) -> NoReturn:
        for row in np.flatnonzero(is_face):
            for token in block.line(int(row)).split()[1:]:
                first = token.split(b"/")[0]
                if not first or parse_integers(first) is None:
                    block.refuse_token(int(row), token)
        refuse("A face holds a vertex index that cannot be read.")

    def mesh(self) -> RawMesh:
        """Return everything as one mesh."""
        if not self._sizes:
            no_triangles(points=self._vertices, lines=self._lines)
        widths, values = np.concatenate(self._widths), np.concatenate(self._values)
        vertices, begins = _positions(values, widths)
        sizes, corners = np.concatenate(self._sizes), np.concatenate(self._corners)
        faces, findings = polygon_faces(vertices, sizes, corners)
        if len(faces) == 0:
            no_triangles(points=len(vertices))
        return RawMesh(
            vertices=vertices,
            faces=faces,
            colors=_colors(values, begins, widths),
            findings=(*findings, *self._notes(values, begins, widths)),
        )

    def _notes(self, values: FloatArray, begins: IntArray, widths: IntArray) -> list[Finding]:
        found = []
        if self._objects > 1:
            found.append(
                note(
                    "several-objects", f"The file holds {self._objects} objects; they were read as one mesh."
                )
            )
        weighted = begins[(widths == 4) | (widths == 7)] + 3
        if (values[weighted] != 1.0).any():
            found.append(
                note("weights-ignored", "Vertices carry weights other than 1; they were not applied.")
            )
        return found


def _positions(values: FloatArray, widths: IntArray) -> tuple[FloatArray, IntArray]:
    """Return the first three numbers of each vertex, and where its numbers begin."""
    begins = np.cumsum(widths) - widths
    if len(widths) and (widths == widths[0]).all():
        return np.ascontiguousarray(values.reshape(len(widths), -1)[:, :3]), begins
    return values[begins[:, None] + np.arange(3)], begins


def _colors(values: FloatArray, begins: IntArray, widths: IntArray) -> NDArray[np.uint8] | None:
    """Return colours if every vertex has red, green and blue behind its coordinates (and weight)."""
    if len(widths) == 0 or widths.min() < 6 or widths.max() > 7:
        return None
    first = begins + widths - 3
    return rgba([values[first + channel] for channel in range(3)])


register(Format(name="obj", title="OBJ", suffixes=(".obj",), recognises=recognises, read=read))

"""RawMesh: what a format's reader hands over, in the file's own unit."""

from dataclasses import dataclass, replace
from typing import Any, Final, NoReturn

import numpy as np
from numpy.typing import NDArray

from mirrorprep.errors import InputFileError
from mirrorprep.intake.limits import MAX_TRIANGLES
from mirrorprep.solid.finding import Finding, Severity

EXPORT_AGAIN: Final = "Export the scan again."


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class RawMesh:
    """A file's triangles before units, welding and the checks that all formats share.

    Attributes
    ----------
    vertices : (n, 3) float32 or float64
        Positions in the file's unit, in the precision the file has.
    faces : (m, 3) int64 or None
        Vertex indices; None when the format stores bare corners (every three vertices are a triangle).
    colors : (n, 4) uint8 or None
        Red, green, blue, alpha per vertex.
    unit : str or None
        The unit the format or the file states, as `mirrorprep.units` names it.
    findings : tuple of Finding
        What the reader noticed.
    """

    vertices: NDArray[Any]
    faces: NDArray[np.int64] | None
    colors: NDArray[np.uint8] | None = None
    unit: str | None = None
    findings: tuple[Finding, ...] = ()

    @property
    def triangle_count(self) -> int:
        """Number of triangles."""
        return len(self.vertices) // 3 if self.faces is None else len(self.faces)

    def noting(self, *findings: Finding) -> "RawMesh":
        """Return the mesh with more findings."""
        return replace(self, findings=(*self.findings, *findings))


def refuse(message: str, remedy: str = EXPORT_AGAIN) -> NoReturn:
    """Raise the one error a reader raises."""
    raise InputFileError(message, remedy=remedy)


def note(code: str, message: str, *, remedy: str = "", measured: float | None = None) -> Finding:
    """Return a finding of severity note."""
    return Finding(code=code, severity=Severity.NOTE, message=message, remedy=remedy, measured=measured)


def caution(code: str, message: str, *, remedy: str, measured: float | None = None) -> Finding:
    """Return a finding of severity caution."""
    return Finding(code=code, severity=Severity.CAUTION, message=message, remedy=remedy, measured=measured)


def no_triangles(points: int = 0, lines: int = 0) -> NoReturn:
    """Refuse a file without triangles and say what it holds instead."""
    held = [f"{count} {name}" for count, name in ((points, "points"), (lines, "lines")) if count]
    if held:
        refuse(
            f"The file holds {' and '.join(held)} but no triangles.",
            "Make a surface of the points in the scanner's software and export that.",
        )
    refuse("The file holds no triangles.", "Export the scan again, with its surface.")


def limit_triangles(count: int) -> None:
    """Refuse more triangles than are ever unfolded."""
    if count > MAX_TRIANGLES:
        refuse(
            f"The file unfolds to {count} triangles (limit {MAX_TRIANGLES}).",
            "Reduce the scan before exporting it.",
        )


def checked_indices(faces: NDArray[Any], vertex_count: int) -> NDArray[np.int64]:
    """Return faces as int64 after refusing any index outside the vertices, with its place."""
    if len(faces) == 0:
        return np.zeros((0, 3), dtype=np.int64)
    if faces.min() < 0 or faces.max() >= vertex_count:
        bad = ((faces < 0) | (faces >= vertex_count)).any(axis=1)
        first = int(np.argmax(bad))
        row = faces[first]
        value = int(row[(row < 0) | (row >= vertex_count)][0])
        refuse(
            f"{int(bad.sum())} triangles refer to vertices that do not exist (first: triangle {first + 1}, "
            f"vertex index {value}; the file holds {vertex_count} vertices, counted from 0)."
        )
    return faces.astype(np.int64, copy=False)

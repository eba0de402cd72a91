"""Placed parts of a scene or a build, joined into one mesh."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from mirrorprep.intake.limits import MAX_PARTS, MAX_VERTICES
from mirrorprep.intake.raw import RawMesh, limit_triangles, no_triangles, note, refuse

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Part:
    """A mesh and where it stands.

    Attributes
    ----------
    vertices : (n, 3) float
        Positions in the part's own frame.
    faces : (m, 3) int64
        Vertex indices.
    matrix : (4, 4) float64
        Placement of column vectors.
    colors : (n, 4) uint8 or None
        Colours of the vertices.
    """

    vertices: NDArray[Any]
    faces: NDArray[np.int64]
    matrix: FloatArray
    colors: NDArray[np.uint8] | None = None

    @property
    def flattened(self) -> bool:
        """Whether the placement has no volume left, so that the part vanishes."""
        linear = self.matrix[:3, :3]
        size = float(np.prod(np.linalg.norm(linear, axis=0)))
        return not abs(np.linalg.det(linear)) > 1e-12 * size

    def placed(self) -> FloatArray:
        """Return the positions in the frame of the whole."""
        return np.asarray(self.vertices.astype(np.float64) @ self.matrix[:3, :3].T + self.matrix[:3, 3])

    def wound(self) -> NDArray[np.int64]:
        """Return the faces, turned round when the placement mirrors, so that outside stays outside."""
        return self.faces[:, ::-1] if np.linalg.det(self.matrix[:3, :3]) < 0.0 else self.faces


def limit_parts(parts: int, vertices: int, triangles: int) -> None:
    """Refuse a file that unfolds to more than the limits, before it is unfolded."""
    if parts > MAX_PARTS:
        refuse(
            f"The file unfolds to {parts} placed parts (limit {MAX_PARTS}).", "Export the scan as one mesh."
        )
    if vertices > MAX_VERTICES:
        refuse(
            f"The file unfolds to {vertices} vertices (limit {MAX_VERTICES}).",
            "Reduce the scan before exporting it.",
        )
    limit_triangles(triangles)


def joined(parts: list[Part], unit: str) -> RawMesh:
    """Return all parts as one mesh in the frame of the whole.

    Raises
    ------
    InputFileError
        If nothing is left, or the parts exceed the limits.
    """
    solid = [part for part in parts if not part.flattened]
    limit_parts(len(solid), sum(len(p.vertices) for p in solid), sum(len(p.faces) for p in solid))
    if not any(len(part.faces) for part in solid):
        no_triangles(points=sum(len(part.vertices) for part in solid))
    counts = np.array([len(part.vertices) for part in solid])
    begins = np.cumsum(counts) - counts
    findings = []
    if len(solid) > 1:
        findings.append(
            note("several-objects", f"The file holds {len(solid)} placed parts; they were read as one mesh.")
        )
    if len(solid) < len(parts):
        message = f"{len(parts) - len(solid)} parts are flattened by their placement; they were left out."
        findings.append(note("flattened-parts", message, measured=len(parts) - len(solid)))
    return RawMesh(
        vertices=np.concatenate([part.placed() for part in solid]),
        faces=np.concatenate([part.wound() + begin for part, begin in zip(solid, begins, strict=True)]),
        colors=_colors(solid),
        unit=unit,
        findings=tuple(findings),
    )


def _colors(parts: list[Part]) -> NDArray[np.uint8] | None:
    """Return all colours, white where a part has none; None when no part has any."""
    if all(part.colors is None for part in parts):
        return None
    white = np.full((1, 4), 255, dtype=np.uint8)
    return np.concatenate(
        [np.repeat(white, len(p.vertices), axis=0) if p.colors is None else p.colors for p in parts]
    )


def matrix_from(numbers: list[float] | FloatArray, order: tuple[int, int]) -> FloatArray:
    """Return a 4 × 4 matrix for column vectors from the columns that a file lists one after the other.

    Parameters
    ----------
    numbers : sequence of float
        Columns, each of `order[1]` numbers.
    order : (int, int)
        How many columns, and how many numbers in each.
    """
    table = np.asarray(numbers, dtype=np.float64)
    if table.shape != (order[0] * order[1],) or not np.isfinite(table).all():
        refuse(f"A placement does not hold {order[0] * order[1]} finite numbers.")
    matrix = np.eye(4)
    matrix[: order[1], : order[0]] = table.reshape(order).T
    return matrix

"""The mesh between two steps of mending, and the record of a step."""

from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from mirrorprep.geometry.normals import doubled_areas
from mirrorprep.solid.mesh import ScanMesh

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

Place = tuple[float, float, float]

MOST_PLACES: Final = 24
"""Places and details that a finding or step lists at most."""


def places(points: FloatArray) -> tuple[Place, ...]:
    """Return at most a few dozen of the points, evenly spread over the list.

    Examples
    --------
    >>> places(np.eye(3))[0]
    (1.0, 0.0, 0.0)
    """
    chosen = points[np.linspace(0, len(points) - 1, min(len(points), MOST_PLACES)).astype(int)]
    return tuple((float(x), float(y), float(z)) for x, y, z in chosen)


def counted(number: int, one: str, many: str = "") -> str:
    """Return a number with its noun.

    Examples
    --------
    >>> counted(1, "edge"), counted(2, "edge"), counted(0, "vertex", "vertices")
    ('1 edge', '2 edges', '0 vertices')
    """
    return f"{number} {one if number == 1 else many or one + 's'}"


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Draft:
    """Vertices and faces on their way; arrays are never changed in place.

    Attributes
    ----------
    vertices : (n, 3) float64
        The scan's vertices first, unmoved, then those that mending added.
    faces : (m, 3) int64
        Triangles.
    source : (m,) int64
        The scan's face that each face is or is a part of, or −1 for a face that mending made up.
    moved_mm : (s,) float64
        How far each vertex of the scan was moved.
    """

    vertices: FloatArray
    faces: IntArray
    source: IntArray
    moved_mm: FloatArray

    @staticmethod
    def of(mesh: ScanMesh) -> "Draft":
        """Return the draft of an untouched scan."""
        return Draft(
            vertices=mesh.vertices,
            faces=mesh.faces,
            source=np.arange(len(mesh.faces)),
            moved_mm=np.zeros(len(mesh.vertices)),
        )

    def keeping(self, kept: NDArray[np.bool_]) -> "Draft":
        """Return the draft with only the marked faces."""
        return replace(self, faces=self.faces[kept], source=self.source[kept])

    def adding(self, vertices: FloatArray, faces: IntArray) -> "Draft":
        """Return the draft with further vertices and made faces, numbered in the joint list."""
        return replace(
            self,
            vertices=np.concatenate([self.vertices, vertices]) if len(vertices) else self.vertices,
            faces=np.concatenate([self.faces, faces]),
            source=np.concatenate([self.source, np.full(len(faces), -1, dtype=np.int64)]),
        )

    def with_moved(self, rows: IntArray, places: FloatArray) -> "Draft":
        """Return the draft with some vertices at other places, those of the scan accounted for."""
        vertices = self.vertices.copy()
        vertices[rows] = places
        moved = self.moved_mm.copy()
        own = rows < len(moved)
        moved[rows[own]] += np.linalg.norm(places[own] - self.vertices[rows[own]], axis=1)
        return replace(self, vertices=vertices, moved_mm=moved)

    def areas_mm2(self) -> FloatArray:
        """Return the area of each face."""
        return np.asarray(np.linalg.norm(doubled_areas(self.vertices, self.faces), axis=1) / 2.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class MendStep:
    """What one step did.

    Attributes
    ----------
    name : str
        ``weld``, ``drop-faulty-faces``, ``drop-islands``, ``orient``, ``split``, ``flatten-spikes``,
        ``fill-holes``, ``remove-self-intersections`` or ``remake``.
    changed : bool
        False when there was nothing to do.
    summary : str
        One sentence.
    counts : dict
        Numbers behind it, by name with unit.
    where : tuple of (float, float, float)
        Places in mm, at most a few dozen.
    details : tuple of str
        What was dropped, piece by piece, at most a few dozen.
    """

    name: str
    changed: bool
    summary: str
    counts: dict[str, float] = field(default_factory=dict)
    where: tuple[Place, ...] = ()
    details: tuple[str, ...] = ()

    def as_dict(self) -> dict[str, object]:
        """Return plain data for JSON."""
        plain = {name: getattr(self, name) for name in ("name", "changed", "summary")}
        return {
            **plain,
            "counts": dict(self.counts),
            "where": [list(place) for place in self.where],
            "details": list(self.details),
        }

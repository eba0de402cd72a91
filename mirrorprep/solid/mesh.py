"""ScanMesh: triangles in millimetres that promise nothing."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from mirrorprep.errors import UsageError
from mirrorprep.solid.finding import Finding

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Origin:
    """Where a mesh came from, without any name.

    Attributes
    ----------
    format : str
        The format read, such as ``stl``; empty for a generated mesh.
    units : str
        The unit that the numbers in the file were taken to be in.
    sha256 : str
        Digest of the file's bytes.
    findings : tuple of Finding
        What the reader noticed.
    """

    format: str = ""
    units: str = "mm"
    sha256: str = ""
    findings: tuple[Finding, ...] = ()


def frozen(array: NDArray[Any], dtype: type) -> NDArray[Any]:
    """Return a read-only, C-contiguous view or copy of `array`; the caller's array stays writable."""
    copy: NDArray[Any] = np.ascontiguousarray(array, dtype=dtype)
    if copy.flags.writeable:
        copy = copy.view() if copy is not array else array.view()
        copy.flags.writeable = False
    return copy


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class ScanMesh:
    """A triangle mesh in millimetres, exactly as scanned: open, noisy or wrong as it may be.

    Attributes
    ----------
    vertices : (n, 3) float64, read-only
        Positions in mm.
    faces : (m, 3) int64, read-only
        Vertex indices, counter-clockwise seen from outside.
    colors : (n, 4) uint8 or None
        Red, green, blue, alpha per vertex.
    origin : Origin
        Format, unit and digest of the file, findings of the reader.

    Raises
    ------
    UsageError
        If shapes or indices do not fit, or a coordinate is not finite.

    Examples
    --------
    >>> mesh = ScanMesh(vertices=np.eye(3), faces=np.array([[0, 1, 2]]))
    >>> mesh.size_mm.tolist()
    [1.0, 1.0, 1.0]
    """

    vertices: FloatArray
    faces: IntArray
    colors: NDArray[np.uint8] | None = None
    origin: Origin = Origin()

    def __post_init__(self) -> None:
        object.__setattr__(self, "vertices", frozen(self.vertices, np.float64))
        object.__setattr__(self, "faces", frozen(self.faces, np.int64))
        if self.colors is not None:
            object.__setattr__(self, "colors", frozen(self.colors, np.uint8))
        self._validate()

    def _validate(self) -> None:
        remedy = "Build the mesh from (n, 3) vertices and (m, 3) vertex indices."
        if self.vertices.ndim != 2 or self.vertices.shape[1] != 3:
            raise UsageError(f"Vertices have shape {self.vertices.shape}, not (n, 3).", remedy=remedy)
        if self.faces.ndim != 2 or self.faces.shape[1] != 3:
            raise UsageError(f"Faces have shape {self.faces.shape}, not (m, 3).", remedy=remedy)
        if not np.isfinite(self.vertices).all():
            raise UsageError("A vertex coordinate is not a finite number.", remedy="Remove such vertices.")
        count = len(self.vertices)
        if len(self.faces) and not (self.faces.min() >= 0 and self.faces.max() < count):
            raise UsageError(f"A face refers to a vertex outside 0 to {count - 1}.", remedy=remedy)
        if self.colors is not None and self.colors.shape != (count, 4):
            raise UsageError(f"Colors have shape {self.colors.shape}, not ({count}, 4).", remedy=remedy)

    def __getstate__(self) -> tuple[object, ...]:
        return (self.vertices, self.faces, self.colors, self.origin)

    def __setstate__(self, state: tuple[Any, ...]) -> None:
        for name, value in zip(("vertices", "faces", "colors", "origin"), state, strict=True):
            object.__setattr__(self, name, value)
        self.__post_init__()

    @property
    def triangles(self) -> FloatArray:
        """Corner positions, shape (m, 3, 3), mm."""
        return self.vertices[self.faces]

    @property
    def bounds_mm(self) -> FloatArray:
        """Lowest and highest corner of the box around the used vertices, shape (2, 3)."""
        if len(self.faces) == 0:
            return np.zeros((2, 3))
        used = self.vertices[np.bincount(self.faces.ravel(), minlength=len(self.vertices)) > 0]
        return np.stack([used.min(axis=0), used.max(axis=0)])

    @property
    def size_mm(self) -> FloatArray:
        """Extent of the bounding box, shape (3,)."""
        low, high = self.bounds_mm
        return np.asarray(high - low)

    @property
    def diagonal_mm(self) -> float:
        """Length of the bounding box's diagonal."""
        return float(np.linalg.norm(self.size_mm))

    def with_geometry(self, vertices: FloatArray, faces: IntArray | None = None) -> "ScanMesh":
        """Return a mesh with other positions, and other faces if given; colours stay if the count fits."""
        colors = self.colors if self.colors is not None and len(self.colors) == len(vertices) else None
        return replace(self, vertices=vertices, faces=self.faces if faces is None else faces, colors=colors)

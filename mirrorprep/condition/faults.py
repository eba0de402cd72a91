"""The faults of single triangles: none of area, repeated ones."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mirrorprep.geometry.normals import doubled_areas

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


def zero_area(vertices: FloatArray, faces: IntArray) -> BoolArray:
    """Return the faces that repeat a vertex or whose corners lie in line.

    Examples
    --------
    >>> line = np.array([[0.0, 0, 0], [1, 0, 0], [2, 0, 0], [0, 1, 0]])
    >>> zero_area(line, np.array([[0, 1, 2], [0, 1, 1], [0, 1, 3]])).tolist()
    [True, True, False]
    """
    return np.asarray(~(doubled_areas(vertices, faces) != 0.0).any(axis=1))


@dataclass(frozen=True, slots=True, eq=False)
class Repeats:
    """Faces that share all three corners.

    Attributes
    ----------
    group : (m,) int64
        Number of the set of corners of each face.
    first : (g,) int64
        First face of each group.
    size : (g,) int64
        Faces in each group.
    """

    group: IntArray
    first: IntArray
    size: IntArray

    @property
    def extra(self) -> IntArray:
        """Faces beyond the first of their group."""
        repeated = np.flatnonzero(self.size[self.group] > 1)
        return np.asarray(repeated[self.first[self.group[repeated]] != repeated])


def repeats(faces: IntArray) -> Repeats:
    """Return the sets of faces with the same corners, whatever their order.

    Examples
    --------
    >>> repeats(np.array([[0, 1, 2], [2, 1, 0], [0, 1, 3]])).extra.tolist()
    [1]
    """
    corners = np.sort(faces, axis=1)
    base = np.int64(faces.max(initial=0) + 1)
    if base < 1 << 21:
        keys = (corners[:, 0] * base + corners[:, 1]) * base + corners[:, 2]
    else:
        low = np.unique(corners[:, 0] * base + corners[:, 1], return_inverse=True)[1]
        keys = low * base + corners[:, 2]
    _, first, group, size = np.unique(keys, return_index=True, return_inverse=True, return_counts=True)
    return Repeats(group, first, size)

"""Cutting a mesh where a value per vertex passes zero."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from mirrorprep.geometry.topology import edge_table

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

NEAR_CORNER: Final = 0.12


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class LevelCut:
    """The part of a mesh where the values are negative.

    Attributes
    ----------
    vertices : (k, 3) float64
        Positions.
    faces : (j, 3) int64
        Wound as in the mesh.
    parent : (k, 2) int64
        The old vertices between which each lies; twice the same for an old vertex.
    share : (k,) float64
        How far from the first to the second of them, 0 to 1.
    """

    vertices: FloatArray
    faces: IntArray
    parent: IntArray
    share: FloatArray

    def carried(self, values: FloatArray) -> FloatArray:
        """Return values per old vertex, (n,) or (n, d), interpolated at the new ones."""
        share = self.share if values.ndim == 1 else self.share[:, None]
        return np.asarray(values[self.parent[:, 0]] * (1.0 - share) + values[self.parent[:, 1]] * share)


def cut_below_zero(vertices: FloatArray, faces: IntArray, values: FloatArray) -> LevelCut:
    """Return the part of a mesh where values, linear over each triangle, are below zero.

    Parameters
    ----------
    vertices, faces : (n, 3) float64, (m, 3) int64
        The mesh.
    values : (n,) float64
        Finite values.

    Notes
    -----
    A corner that lies within 12 % of an edge of the cut is taken to lie on it, so that no slivers arise; the
    cut moves by as much there.

    Examples
    --------
    >>> corner = np.array([[0.0, 0, 0], [2, 0, 0], [0, 2, 0]])
    >>> cut = cut_below_zero(corner, np.array([[0, 1, 2]]), np.array([-1.0, 1.0, 1.0]))
    >>> cut.vertices.tolist(), cut.faces.tolist()
    ([[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]], [[0, 1, 2]])
    """
    level = _snapped(faces, values)
    sign = np.sign(level).astype(np.int64)
    edges = edge_table(faces).edges
    crossed = edges[sign[edges[:, 0]] * sign[edges[:, 1]] < 0]
    share = level[crossed[:, 0]] / (level[crossed[:, 0]] - level[crossed[:, 1]])
    number = {(int(a), int(b)): len(vertices) + k for k, (a, b) in enumerate(crossed)}
    whole = faces[(sign[faces] <= 0).all(axis=1) & (sign[faces] < 0).any(axis=1)]
    mixed = faces[(sign[faces] < 0).any(axis=1) & (sign[faces] > 0).any(axis=1)]
    pieces = [piece for face in mixed.tolist() for piece in _clipped(face, sign, number)]
    kept = np.concatenate([whole, np.array(pieces, dtype=np.int64).reshape(-1, 3)])
    parent = np.concatenate([np.repeat(np.arange(len(vertices)), 2).reshape(-1, 2), crossed])
    shares = np.concatenate([np.zeros(len(vertices)), share])
    used, compact = np.unique(kept, return_inverse=True)
    ends = vertices[parent[used]]
    return LevelCut(
        vertices=ends[:, 0] + shares[used, None] * (ends[:, 1] - ends[:, 0]),
        faces=compact.reshape(-1, 3).astype(np.int64),
        parent=parent[used],
        share=shares[used],
    )


def _snapped(faces: IntArray, values: FloatArray) -> FloatArray:
    level = values.astype(np.float64)
    edges = edge_table(faces).edges
    first, second = level[edges[:, 0]], level[edges[:, 1]]
    crossed = first * second < 0.0
    share = np.divide(first, first - second, out=np.full(len(edges), 0.5), where=crossed)
    level[edges[crossed & (share < NEAR_CORNER), 0]] = 0.0
    level[edges[crossed & (share > 1.0 - NEAR_CORNER), 1]] = 0.0
    return level


def _clipped(face: list[int], sign: IntArray, number: dict[tuple[int, int], int]) -> list[list[int]]:
    """Return the pieces of one face that lie below zero."""
    polygon = []
    for k in range(3):
        a, b = face[k], face[(k + 1) % 3]
        if sign[a] <= 0:
            polygon.append(a)
        if sign[a] * sign[b] < 0:
            polygon.append(number[min(a, b), max(a, b)])
    return [[polygon[0], polygon[k], polygon[k + 1]] for k in range(1, len(polygon) - 1)]

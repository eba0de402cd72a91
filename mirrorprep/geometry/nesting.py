"""Which closed bodies of a mesh lie within which, and which way round they are."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mirrorprep.geometry.box_pairs import overlapping_boxes
from mirrorprep.geometry.winding_number import winding_numbers

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Nesting:
    """The bodies of a mesh.

    Attributes
    ----------
    volume_mm3 : (b,) float64
        Signed volume, of an open body as if its holes were closed towards the middle of the body.
    inside : (k, 2) int64
        Pairs (inner, outer): the inner body's first corner lies within the outer, which is closed.
    """

    volume_mm3: FloatArray
    inside: IntArray

    def depth(self) -> IntArray:
        """Return by how many bodies each body is enclosed."""
        return np.bincount(self.inside[:, 0], minlength=len(self.volume_mm3))


def nesting(vertices: FloatArray, faces: IntArray, body: IntArray, closed: BoolArray) -> Nesting:
    """Return signed volumes and enclosures of the bodies.

    Parameters
    ----------
    vertices, faces : (n, 3) float64, (m, 3) int64
        The mesh.
    body : (m,) int64
        Body number of each face, from 0.
    closed : (b,) bool
        Which bodies are closed; only these can enclose others.

    Returns
    -------
    Nesting

    Examples
    --------
    >>> from mirrorprep.solid.primitives import box
    >>> shell = box([4, 4, 4]) - box([2, 2, 2])
    >>> from mirrorprep.geometry.topology import bodies
    >>> count, body = bodies(shell.mesh.faces, len(shell.mesh.vertices))
    >>> nest = nesting(shell.mesh.vertices, shell.mesh.faces, body, np.ones(count, dtype=bool))
    >>> sorted(nest.volume_mm3.round(9).tolist()), nest.depth().tolist().count(1)
    ([-8.0, 64.0], 1)
    """
    count = len(closed)
    corners = vertices[faces]
    low, high = np.full((count, 3), np.inf), np.full((count, 3), -np.inf)
    np.minimum.at(low, body, corners.min(axis=1))
    np.maximum.at(high, body, corners.max(axis=1))
    order = np.argsort(body, kind="stable")
    first = order[np.searchsorted(body[order], np.arange(count))]
    middle = (low + high) / 2.0
    a, b, c = (corners[:, k] - middle[body] for k in range(3))
    volume = np.bincount(body, np.einsum("ij,ij->i", a, np.cross(b, c)), count) / 6.0
    found = [np.zeros((0, 2), dtype=np.int64)]
    for one, other in overlapping_boxes(low, high):
        for inner, outer in ((one, other), (other, one)):
            fits = (
                closed[outer]
                & (low[inner] > low[outer]).all(axis=1)
                & (high[inner] < high[outer]).all(axis=1)
            )
            found.append(np.stack([inner[fits], outer[fits]], axis=1))
    candidates = np.concatenate(found)
    return Nesting(
        volume_mm3=volume, inside=candidates[_enclosed(candidates, vertices, faces, order, body, first)]
    )


def _enclosed(
    pairs: IntArray, vertices: FloatArray, faces: IntArray, order: IntArray, body: IntArray, first: IntArray
) -> BoolArray:
    """Ask for each outer body at once whether the first corners of its candidates lie within."""
    hit = np.zeros(len(pairs), dtype=bool)
    ranked = body[order]
    for outer in np.unique(pairs[:, 1]):
        rows = np.flatnonzero(pairs[:, 1] == outer)
        start, stop = np.searchsorted(ranked, [outer, outer + 1])
        places = vertices[faces[first[pairs[rows, 0]], 0]]
        hit[rows] = np.abs(winding_numbers(places, vertices, faces[order[start:stop]])) > 0.5
    return hit

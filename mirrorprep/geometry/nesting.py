"""Which closed bodies of a mesh lie within which, and which way round they are."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from mirrorprep.geometry.box_pairs import overlapping_boxes
from mirrorprep.geometry.normals import doubled_areas
from mirrorprep.geometry.topology import EdgeTable
from mirrorprep.geometry.winding_number import quick_winding_numbers

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

SHEET: Final = 1e-3
"""A body with less volume than this share of its area to the power 1.5 is a sheet (a ball has 0.094)."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Nesting:
    """The bodies of a mesh.

    Attributes
    ----------
    volume_mm3 : (b,) float64
        Signed volume, of an open body as if each border were closed by a cone to the border's middle.
    plump : (b,) bool
        Bodies that enclose something for their area; an open sheet or a flat pair of triangles does not.
    inside : (k, 2) int64
        Pairs (inner, outer): the inner body's first corner lies within the outer, which is closed.
    """

    volume_mm3: FloatArray
    plump: BoolArray
    inside: IntArray

    def depth(self) -> IntArray:
        """Return by how many bodies each body is enclosed."""
        return np.bincount(self.inside[:, 0], minlength=len(self.volume_mm3))


def nesting(
    vertices: FloatArray, faces: IntArray, body: IntArray, closed: BoolArray, table: EdgeTable
) -> Nesting:
    """Return signed volumes and enclosures of the bodies.

    Parameters
    ----------
    vertices, faces : (n, 3) float64, (m, 3) int64
        The mesh.
    body : (m,) int64
        Body number of each face, from 0.
    closed : (b,) bool
        Bodies that may enclose others, if they are plump: the closed ones (see `closed_bodies`), or also
        open ones of which only a part is missing.
    table : EdgeTable
        The mesh's edges.

    Returns
    -------
    Nesting

    Examples
    --------
    >>> from mirrorprep.solid.primitives import box
    >>> shell = box([4, 4, 4]) - box([2, 2, 2])
    >>> from mirrorprep.geometry.topology import bodies, edge_table
    >>> table, body = edge_table(shell.mesh.faces), bodies(shell.mesh.faces, len(shell.mesh.vertices))[1]
    >>> nest = nesting(shell.mesh.vertices, shell.mesh.faces, body, closed_bodies(table, body), table)
    >>> sorted(nest.volume_mm3.round(9).tolist()), nest.depth().tolist().count(1)
    ([-8.0, 64.0], 1)
    """
    count = len(closed)
    order = np.argsort(body, kind="stable") if count > 1 else np.arange(len(body))
    starts = np.searchsorted(body[order], np.arange(count))
    first = order[starts]
    low, high = _bounds(vertices, faces, order, starts)
    middle = (low + high) / 2.0
    cross = doubled_areas(vertices, faces)
    reach = vertices[faces[:, 0]] - (middle[body] if count > 1 else middle)
    sixfold = np.bincount(body, np.einsum("ij,ij->i", reach, cross), count).astype(np.float64)
    volume = (sixfold + _border_cones(vertices, faces, body, middle, table)) / 6.0
    area = np.bincount(body, np.sqrt(np.einsum("ij,ij->i", cross, cross)), count) / 2.0
    plump = np.asarray(np.abs(volume) > SHEET * area**1.5)
    closed = closed & plump
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
        volume_mm3=volume,
        plump=plump,
        inside=candidates[_enclosed(candidates, vertices, faces, order, body, first)],
    )


def _bounds(
    vertices: FloatArray, faces: IntArray, order: IntArray, starts: IntArray
) -> tuple[FloatArray, FloatArray]:
    """Return the corners of each body's box; its faces stand in a row in the order."""
    sides = []
    for axis in range(3):
        values = np.ascontiguousarray(vertices[:, axis])
        a, b, c = (values[faces[:, k]] for k in range(3))
        low, high = np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)
        if len(starts) > 1:
            low, high = low[order], high[order]
        sides.append((np.minimum.reduceat(low, starts), np.maximum.reduceat(high, starts)))
    return np.stack([low for low, _ in sides], axis=1), np.stack([high for _, high in sides], axis=1)


def closed_bodies(table: EdgeTable, body: IntArray) -> BoolArray:
    """Return which bodies have only edges of two triangles that run opposite ways, shape (b,)."""
    closed = np.ones(int(body.max(initial=-1)) + 1, dtype=bool)
    closed[body[~_sound(table)[table.of_face].all(axis=1)]] = False
    return closed


def _sound(table: EdgeTable) -> BoolArray:
    return np.asarray((table.forward == 1) & (table.backward == 1))


def _border_cones(
    vertices: FloatArray, faces: IntArray, body: IntArray, middle: FloatArray, table: EdgeTable
) -> FloatArray:
    """Return sixfold the volume added per body by closing each border with a cone to its own middle."""
    count = len(middle)
    face, corner = np.nonzero(table.open[table.of_face])
    if len(face) == 0:
        return np.zeros(count)
    start, stop = faces[face, corner], faces[face, (corner + 1) % 3]
    used, rows = np.unique(np.stack([start, stop]), return_inverse=True)
    links = coo_array((np.ones(len(face), dtype=np.int8), tuple(rows.reshape(2, -1))), shape=(len(used),) * 2)
    groups, label = connected_components(links, directed=False)
    group = label[rows.reshape(2, -1)[0]]
    p, q = vertices[start], vertices[stop]
    edges = np.maximum(np.bincount(group, minlength=groups), 1)
    tip = np.stack([np.bincount(group, (p + q)[:, k] / 2.0, groups) / edges for k in range(3)], axis=1)[group]
    shift = middle[body[face]]
    cone = np.einsum("ij,ij->i", q - shift, np.cross(p - shift, tip - shift))
    return np.bincount(body[face], cone, count).astype(np.float64)


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
        hit[rows] = np.abs(quick_winding_numbers(places, vertices, faces[order[start:stop]])) > 0.5
    return hit

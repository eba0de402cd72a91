"""Light on surfaces: smooth over gentle bends, broken at creases, untroubled by slivers."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from mirrorprep.geometry.normals import doubled_areas, unit, vertex_normals

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_MOST_NEIGHBOURS: Final = 128
_AMBIENT: Final = 0.30
_DIFFUSE: Final = 0.85
_SPECULAR: Final = 0.06
_SHININESS: Final = 18
_LIGHTS: Final = (((-0.7, 0.9, 1.0), 0.62), ((1.0, 0.15, 0.6), 0.22), ((0.0, -0.2, 1.0), 0.30))
"""Towards the light in the picture's right, up and out, and its strength: a key light from the upper left, a
fill from the right and a little from the eye."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Shading:
    """A surface made ready for light: a vertex stands once where it is smooth, once per corner at a crease.

    Attributes
    ----------
    source : (k,) int64
        The old vertex of each new one.
    faces : (m, 3) int64
        The old faces by new vertices.
    normals : (k, 3) float64
        Unit normals; zero where no face with an area meets.
    facing : (m, 3) float64
        Unit normals of the faces; zero for one without area.
    """

    source: IntArray
    faces: IntArray
    normals: FloatArray
    facing: FloatArray

    def per_corner(self) -> "Shading":
        """Return it with three vertices for each face, which can then have a colour of its own."""
        corners = self.faces.ravel()
        return Shading(
            source=self.source[corners],
            faces=np.arange(len(corners)).reshape(-1, 3),
            normals=self.normals[corners],
            facing=self.facing,
        )


def shading(vertices: FloatArray, faces: IntArray, *, crease_deg: float = 40.0) -> Shading:
    """Return a surface with the normals that light needs.

    Parameters
    ----------
    vertices, faces : (n, 3) float64, (m, 3) int64
        The surface.
    crease_deg : float
        Faces that meet at a vertex with a larger angle between them do not smooth each other.

    Returns
    -------
    Shading
        Normals are area-weighted means over the faces around a vertex or, at a crease, over those that do
        not bend away from the corner's own face.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import box
    >>> cube = box([1, 1, 1]).mesh
    >>> shaded = shading(cube.vertices, cube.faces)
    >>> bool((abs(shaded.normals[shaded.faces]).max(axis=2) == 1).all())
    True
    """
    weighted = doubled_areas(vertices, faces)
    direction = unit(weighted)
    corners = faces.ravel()
    mean = vertex_normals(vertices, faces)
    # faces within half the crease angle of one direction lie within the whole angle of each other
    gentle = np.einsum("ij,ikj->ik", direction, mean[faces]) >= np.cos(np.radians(crease_deg / 2))
    creased = np.bincount(corners, weights=~gentle.ravel(), minlength=len(vertices)) > 0
    split = np.flatnonzero(creased[corners])
    renumbered = corners.copy()
    renumbered[split] = len(vertices) + np.arange(len(split))
    limit = float(np.cos(np.radians(crease_deg)))
    broken = _broken_normals(corners, split, (weighted, direction), limit=limit)
    return Shading(
        source=np.concatenate([np.arange(len(vertices)), corners[split]]),
        faces=renumbered.reshape(-1, 3),
        normals=np.concatenate([mean, broken]),
        facing=direction,
    )


def _broken_normals(
    corners: IntArray, split: IntArray, normals: tuple[FloatArray, FloatArray], *, limit: float
) -> FloatArray:
    """Return the normals of the split corners, each smoothed by the faces it does not crease with."""
    weighted, direction = normals
    order = np.argsort(corners[split], kind="stable")
    owner = corners[split][order]
    face = split[order] // 3
    total = weighted[face].copy()
    first = np.arange(len(owner))
    for step in range(1, _MOST_NEIGHBOURS):
        first = first[first + step < len(owner)]
        first = first[owner[first] == owner[first + step]]
        if len(first) == 0:
            break
        a, b = face[first], face[first + step]
        near = np.einsum("ij,ij->i", direction[a], direction[b]) > limit
        one, other = first[near], first[near] + step
        total[one] += weighted[b[near]]
        total[other] += weighted[a[near]]
    result = np.empty_like(total)
    result[order] = total
    return unit(result)


def lit(shaded: Shading, colors: FloatArray, axes: FloatArray) -> NDArray[np.uint8]:
    """Return what the eye sees of each vertex, shape (k, 3).

    Parameters
    ----------
    shaded : Shading
        The surface.
    colors : (k, 3) or (3,) float64
        Its own colours from 0 to 1.
    axes : (3, 3) float64
        Right, up and towards the eye.

    Notes
    -----
    Phong's model (Communications of the ACM 18, 1975, doi:10.1145/360825.360839) at the vertices, as Gouraud
    did; at the density of scans, and on flat faces, that is what a computation at each pixel would give.
    A surface that is seen from behind alone is lit from behind.
    """
    before = (shaded.facing @ axes[2]) >= 0
    seen = np.bincount(shaded.faces[before].ravel(), minlength=len(shaded.source)) > 0
    normals = (shaded.normals @ axes.T) * np.where(seen, 1.0, -1.0)[:, None]
    diffuse, specular = np.zeros(len(normals)), np.zeros(len(normals))
    for place, strength in _LIGHTS:
        light = np.asarray(place) / np.linalg.norm(place)
        reach = normals @ light
        mirrored = 2 * reach * normals[:, 2] - light[2]
        diffuse += strength * np.maximum(reach, 0)
        specular += strength * np.where(reach > 0, np.maximum(mirrored, 0), 0) ** _SHININESS
    shown = colors * (_AMBIENT + _DIFFUSE * diffuse)[:, None] + (_SPECULAR * specular)[:, None]
    return np.rint(255 * np.clip(shown, 0, 1)).astype(np.uint8)

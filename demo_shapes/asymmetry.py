"""Slight natural asymmetry: a smooth displacement of the right half."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from demo_shapes.fields import length, smooth_step, times

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
Bend = Callable[[FloatArray], FloatArray]

_WAVES = 12
_SHORTEST_MM, _LONGEST_MM = 60.0, 180.0
_MARGIN_MM = 40.0


@dataclass(frozen=True, slots=True, eq=False)
class _Sway:
    """A sum of sine waves."""

    waves: FloatArray
    phases: FloatArray
    heights: FloatArray

    @classmethod
    def drawn(cls, seed: int) -> "_Sway":
        """Return the waves of a seed."""
        rng = np.random.default_rng([seed, 2])
        directions = rng.normal(size=(_WAVES, 3))
        directions /= length(directions)[:, None]
        pitch = 2.0 * np.pi / rng.uniform(_SHORTEST_MM, _LONGEST_MM, _WAVES)
        return cls(
            directions * pitch[:, None], rng.uniform(0.0, 2.0 * np.pi, _WAVES), rng.normal(size=(_WAVES, 3))
        )

    def at(self, points: FloatArray) -> FloatArray:
        """Return the displacement at (n, 3) points."""
        return times(np.sin(times(points, self.waves.T) + self.phases), self.heights)


def warped(vertices: FloatArray, faces: IntArray, *, rms_mm: float, seed: int) -> Bend:
    """Return a smooth map that displaces the half x > 0 and leaves the other half where it is.

    Parameters
    ----------
    vertices, faces : arrays
        The symmetric surface, its mirror plane at x = 0.
    rms_mm : float
        Root mean square, over area, of the displacement along the normal on the displaced half.
    seed : int
        Draws the waves.

    Returns
    -------
    callable
        Takes and gives (n, 3) positions.

    Notes
    -----
    A sum of sine waves of 60 to 180 mm. The part that a shift or tilt of the mirror plane would explain, in
    the least-squares sense over the surface, is taken out.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import sphere
    >>> ball = sphere(80.0).mesh
    >>> bend = warped(ball.vertices, ball.faces, rms_mm=1.0, seed=1)
    >>> bool((bend(ball.vertices) == ball.vertices)[ball.vertices[:, 0] < 0].all())
    True
    """
    sway = _Sway.drawn(seed)
    middle, normal, area = _right_half(vertices, faces)
    fade = _fade(middle)
    along = np.einsum("ni,nij->nj", normal, _plane_motions(middle))
    signal = np.einsum("ni,ni->n", normal, sway.at(middle)) * fade
    weighted = along * area[:, None]
    normal_matrix = np.einsum("nj,nk->jk", weighted, along * fade[:, None])
    share = np.linalg.solve(normal_matrix, np.einsum("nj,n->j", weighted, signal))
    rest = signal - np.einsum("nj,j->n", along, share) * fade
    scale = rms_mm / np.sqrt((area * rest**2).sum() / area.sum())

    def bend(points: FloatArray) -> FloatArray:
        push = sway.at(points) - np.einsum("nij,j->ni", _plane_motions(points), share)
        return np.asarray(points + scale * _fade(points)[:, None] * push)

    return bend


def _right_half(vertices: FloatArray, faces: IntArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return middles, unit normals and areas (twofold) of the triangles with x > 0."""
    a, b, c = np.moveaxis(vertices[faces], 1, 0)
    middle, normal = (a + b + c) / 3.0, np.cross(b - a, c - a)
    right = middle[:, 0] > 0.0
    area = length(normal[right])
    return middle[right], normal[right] / np.maximum(area, 1e-12)[:, None], area


def _fade(points: FloatArray) -> FloatArray:
    return smooth_step(0.0, _MARGIN_MM, points[:, 0])


def _plane_motions(points: FloatArray) -> FloatArray:
    """Return how the image of the left half moves when the plane is shifted or tilted, (n, 3, 3).

    A shift of the plane moves the image along x; tilts turn it about z and y.
    """
    x, y, z = points.T
    zero = np.zeros_like(x)
    shift = np.stack([np.ones_like(x), zero, zero], axis=1)
    return np.stack([shift, np.stack([y, -x, zero], axis=1), np.stack([z, zero, -x], axis=1)], axis=2)

"""Slight natural asymmetry: a smooth displacement of the right half."""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from demo_shapes.fields import smooth_step

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
Bend = Callable[[FloatArray], FloatArray]

_WAVES = 12
_SHORTEST_MM, _LONGEST_MM = 60.0, 180.0
_MARGIN_MM = 40.0


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
    rng = np.random.default_rng([seed, 2])
    directions = rng.normal(size=(_WAVES, 3))
    directions /= np.linalg.norm(directions, axis=1)[:, None]
    waves = directions * (2.0 * np.pi / rng.uniform(_SHORTEST_MM, _LONGEST_MM, _WAVES))[:, None]
    phases = rng.uniform(0.0, 2.0 * np.pi, _WAVES)
    sway = rng.normal(size=(_WAVES, 3))

    a, b, c = np.moveaxis(vertices[faces], 1, 0)
    middle, normal = (a + b + c) / 3.0, np.cross(b - a, c - a)
    right = middle[:, 0] > 0.0
    middle, normal = middle[right], normal[right]
    area = np.linalg.norm(normal, axis=1)
    normal = normal / np.maximum(area, 1e-12)[:, None]

    def raw(points: FloatArray) -> FloatArray:
        return np.asarray(np.sin(points @ waves.T + phases) @ sway)

    def fade(points: FloatArray) -> FloatArray:
        return smooth_step(0.0, _MARGIN_MM, points[:, 0])

    # Moving the plane by (shift, tilt, tilt) moves the right half, seen from its image, by these along x
    # (and y, z for the tilts); their normal parts span what must be taken out.
    def plane_motions(points: FloatArray) -> FloatArray:
        x, y, z = points.T
        zero = np.zeros_like(x)
        shift = np.stack([np.ones_like(x), zero, zero], axis=1)
        return np.stack([shift, np.stack([y, -x, zero], axis=1), np.stack([z, zero, -x], axis=1)], axis=2)

    weight = np.sqrt(area)[:, None]
    along = np.einsum("ni,nij->nj", normal, plane_motions(middle))
    faded = along * fade(middle)[:, None]
    signal = (normal * raw(middle)).sum(axis=1) * fade(middle)
    share = np.linalg.solve(
        (along * weight).T @ (faded * weight), (along * weight).T @ (signal[:, None] * weight)
    )
    signal = signal - (faded @ share)[:, 0]
    scale = rms_mm / np.sqrt((area * signal**2).sum() / area.sum())

    def bend(points: FloatArray) -> FloatArray:
        push = raw(points) - plane_motions(points) @ share[:, 0]
        return np.asarray(points + scale * fade(points)[:, None] * push)

    return bend

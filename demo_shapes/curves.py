"""Limbs and ridges along smooth space curves."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import CubicSpline
from scipy.spatial import KDTree

from demo_shapes.fields import length

FloatArray = NDArray[np.float64]


def spline(knots: ArrayLike, count: int, *, closed: bool = False) -> FloatArray:
    """Return `count` points of a cubic spline through (n, d) knots, chord-length parameter.

    Examples
    --------
    >>> spline([[0, 0], [1, 1], [2, 2]], 5)[:, 0].round(9).tolist()
    [0.0, 0.5, 1.0, 1.5, 2.0]
    """
    given = np.asarray(knots, dtype=np.float64)
    if closed:
        given = np.vstack([given, given[:1]])
    steps = np.linalg.norm(np.diff(given[:, : min(3, given.shape[1])], axis=0), axis=1)
    place = np.concatenate([[0.0], np.cumsum(np.sqrt(steps))])
    curve = CubicSpline(place, given, bc_type="periodic" if closed else "natural")
    return np.asarray(curve(np.linspace(0.0, place[-1], count, endpoint=not closed)))


class Tube:
    """A round limb along a curve, its radius given at each knot.

    Parameters
    ----------
    knots : sequence of (x, y, z, radius)
        In mm.
    samples : int
        Points taken along the curve; their spacing should not exceed the radius.
    reach_mm : float
        Distances from the curve beyond this are not told apart.

    Examples
    --------
    >>> Tube([(0, 0, 0, 2), (5, 0, 0, 2), (10, 0, 0, 2)]).distance_mm(np.array([[5.0, 3.0, 0.0]])).round(6)
    array([1.])
    """

    def __init__(
        self, knots: Sequence[Sequence[float]] | FloatArray, samples: int = 240, *, reach_mm: float = 12.0
    ) -> None:
        path = spline(knots, samples)
        self.centers, self.radii = path[:, :3], path[:, 3]
        tangent = np.gradient(self.centers, axis=0)
        self._spacing = np.linalg.norm(tangent, axis=1)
        self.tangents = tangent / self._spacing[:, None]
        self._swell = np.gradient(self.radii) / self._spacing
        self._tree = KDTree(self.centers, leafsize=32)
        self._reach = reach_mm

    def distance_mm(self, points: FloatArray) -> FloatArray:
        """Return the distance of (n, 3) points from the skin of the limb."""
        answer = np.full(len(points), self._reach - self.radii.max())
        spread, near = self._tree.query(points, distance_upper_bound=self._reach)
        close = np.isfinite(spread)
        answer[close] = self._near_distance(points[close], near[close])
        return answer

    def _near_distance(self, points: FloatArray, near: NDArray[np.int64]) -> FloatArray:
        offset = points - self.centers[near]
        along = np.einsum("ij,ij->i", offset, self.tangents[near])
        along = np.clip(along, -self._spacing[near], self._spacing[near])
        along = np.where(
            ((near == 0) & (along < 0)) | ((near == len(self.radii) - 1) & (along > 0)), 0.0, along
        )
        across = length(offset - along[:, None] * self.tangents[near])
        return np.asarray(across - self.radii[near] - along * self._swell[near])


class Groove:
    """A line drawn on a front-facing skin, its depth and width given at each knot.

    Parameters
    ----------
    knots : sequence of (x, z, depth, width)
        In mm; depth below zero raises a welt.

    Examples
    --------
    >>> line = Groove([(0, 0, 1, 1), (5, 0, 1, 1), (10, 0, 1, 1)])
    >>> line.depth_mm(np.array([[5.0, 90.0, 0.0], [5.0, 90.0, 9.0]])).round(3).tolist()
    [1.0, 0.0]
    """

    def __init__(self, knots: Sequence[Sequence[float]], samples: int = 160) -> None:
        path = spline(knots, samples)
        self._depth, self._width = path[:, 2], path[:, 3]
        self._tree = KDTree(path[:, :2], leafsize=32)
        self._reach = 4.0 * float(self._width.max())

    def depth_mm(self, points: FloatArray) -> FloatArray:
        """Return how deep the groove is at (n, 3) points, seen along y."""
        away, near = self._tree.query(points[:, [0, 2]], distance_upper_bound=self._reach)
        depth = np.zeros(len(points))
        close = np.isfinite(away)
        near, ratio = near[close], away[close] / self._width[near[close]]
        depth[close] = self._depth[near] * np.exp(-0.5 * ratio * ratio)
        return depth

"""A smooth implicit surface through oriented points: a polyharmonic spline."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

_OFFSET: Final = 0.2
_BLOCK: Final = 4096
_LEAST_SLOPE: Final = 0.1


class ImplicitSurface:
    """The zero set of a smooth function that vanishes at points and rises along their normals.

    Parameters
    ----------
    points, normals : (n, 3) float64
        At least ten points and unit normals.
    center : (3,) float64
        Origin of the scaled coordinates.
    scale_mm : float
        Length taken as one; off-surface conditions stand at 0.2 of it.
    smoothing : float
        Weight of smoothness against closeness, in scaled units; 0 interpolates.

    Notes
    -----
    The biharmonic spline in space (kernel |r|³) with a quadratic polynomial, conditions on and off the
    surface: J. C. Carr et al., "Reconstruction and representation of 3D objects with radial basis
    functions", SIGGRAPH 2001, 67-76. A sphere or ellipsoid with a hole is continued to within a few parts
    in a thousand of the hole's size.

    Examples
    --------
    >>> way = np.random.default_rng(1).normal(size=(60, 3))
    >>> way /= np.linalg.norm(way, axis=1, keepdims=True)
    >>> ball = ImplicitSurface(way * 5.0, way, center=np.zeros(3), scale_mm=5.0, smoothing=0.0)
    >>> bool(abs(ball.project(np.array([[0.0, 0.0, 4.0]]))[0, 2] - 5.0) < 0.05)
    True
    """

    def __init__(
        self,
        points: FloatArray,
        normals: FloatArray,
        *,
        center: FloatArray,
        scale_mm: float,
        smoothing: float,
    ) -> None:
        self._center, self._scale = center, scale_mm
        local = (points - center) / scale_mm
        self._nodes = np.concatenate([local, local + _OFFSET * normals, local - _OFFSET * normals])
        values = np.repeat([0.0, _OFFSET, -_OFFSET], len(points))
        count = len(values)
        kernel = _distances(self._nodes, self._nodes) ** 3
        kernel[np.diag_indices(count)] += smoothing
        basis = _quadratic(self._nodes)
        corner = np.zeros((basis.shape[1],) * 2)
        system = np.block([[kernel, basis], [basis.T, corner]])
        right = np.concatenate([values, np.zeros(len(corner))])
        solved = (
            np.linalg.lstsq(system, right, rcond=1e-12)[0] if count < 40 else np.linalg.solve(system, right)
        )
        self._weights, self._polynomial = solved[:count], solved[count:]

    def project(self, points: FloatArray, *, target: FloatArray | None = None, rounds: int = 5) -> FloatArray:
        """Return the points moved along the gradient to where the function has the target values (or 0).

        Target values are lengths in mm of about the signed distance.
        """
        moved = (points - self._center) / self._scale
        wanted = np.zeros(len(points)) if target is None else target / self._scale
        for _ in range(rounds):
            value, slope = self._evaluated(moved)
            square = np.maximum(np.einsum("ij,ij->i", slope, slope), _LEAST_SLOPE)
            step = ((value - wanted) / square)[:, None] * slope
            length = np.linalg.norm(step, axis=1, keepdims=True)
            moved = moved - step * np.minimum(1.0, 0.5 / np.maximum(length, 1e-300))
        return moved * self._scale + self._center

    def values(self, points: FloatArray) -> FloatArray:
        """Return the function at the points, in mm: about the signed distance near the data."""
        return self._evaluated((points - self._center) / self._scale)[0] * self._scale

    def _evaluated(self, places: FloatArray) -> tuple[FloatArray, FloatArray]:
        value, slope = np.empty(len(places)), np.empty((len(places), 3))
        for start in range(0, len(places), _BLOCK):
            rows = slice(start, start + _BLOCK)
            part = places[rows]
            distance = _distances(part, self._nodes)
            value[rows] = distance**3 @ self._weights + _quadratic(part) @ self._polynomial
            pull = 3.0 * distance * self._weights
            slope[rows] = pull.sum(axis=1)[:, None] * part - pull @ self._nodes
        c = self._polynomial
        x, y, z = places.T
        slope += np.stack(
            [
                c[1] + 2.0 * c[4] * x + c[7] * y + c[9] * z,
                c[2] + 2.0 * c[5] * y + c[7] * x + c[8] * z,
                c[3] + 2.0 * c[6] * z + c[8] * y + c[9] * x,
            ],
            axis=1,
        )
        return value, slope


def _distances(a: FloatArray, b: FloatArray) -> FloatArray:
    square = np.einsum("ij,ij->i", a, a)[:, None] + np.einsum("ij,ij->i", b, b) - 2.0 * a @ b.T
    return np.asarray(np.sqrt(np.maximum(square, 0.0)))


def _quadratic(points: FloatArray) -> FloatArray:
    x, y, z = points.T
    return np.stack([np.ones_like(x), x, y, z, x * x, y * y, z * z, x * y, y * z, z * x], axis=1)

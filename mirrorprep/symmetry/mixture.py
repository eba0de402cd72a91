"""Distances to a counterpart as a mixture: samples that follow a symmetry, and strays.

Distances of followers are half-normal of a width τ that the scan itself tells; those of strays are uniform
over the reach R, as between unrelated surfaces. Expectation-maximisation fits both.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

REACH = 0.03
LEAST_STRAY = 0.02
MOST_STRAY = 0.999


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Mixture:
    """Mixtures of k planes.

    Attributes
    ----------
    stray : (k,) float64
        Share of strays.
    width : (k,) float64
        Width τ of the followers' distances, in units of the diagonal.
    """

    stray: FloatArray
    width: FloatArray

    @classmethod
    def start(cls, count: int, *, stray: float = 0.5, width: float = 0.005) -> "Mixture":
        """Return equal mixtures for `count` planes."""
        return cls(stray=np.full(count, stray), width=np.full(count, width))

    def following(self, residual: FloatArray) -> FloatArray:
        """Return the density of followers at (k, p) distances, relative to a uniform one over the reach."""
        width = self.width[:, None]
        near = np.isfinite(residual)
        height = (1.0 - self.stray)[:, None] * (np.sqrt(2.0 / np.pi) * REACH / width)
        square = np.where(near, residual, 0.0) ** 2
        return np.asarray(np.where(near, height * np.exp(square / (-2.0 * width**2)), 0.0))

    def membership(self, residual: FloatArray) -> FloatArray:
        """Return the probability (k, p) that a sample follows."""
        follows = self.following(residual)
        return np.asarray(follows / (follows + self.stray[:, None]))

    def updated(
        self, residual: FloatArray, member: FloatArray, weight: FloatArray, *, finest: float
    ) -> "Mixture":
        """Return the most likely mixture for given memberships and weights (k, p)."""
        members = weight * member
        count, total = members.sum(axis=1), np.maximum(weight.sum(axis=1), 1e-12)
        square = np.where(np.isfinite(residual), residual, 0.0) ** 2
        width = np.sqrt((members * square).sum(axis=1) / np.maximum(count, 1e-12))
        return Mixture(
            stray=np.clip(1.0 - count / total, LEAST_STRAY, MOST_STRAY), width=np.clip(width, finest, REACH)
        )

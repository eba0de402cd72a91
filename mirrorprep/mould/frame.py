"""The frame a mould is built in: across, up while pouring, and pull."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mirrorprep.mould.parting import PartingSurface
from mirrorprep.solid.section import rectangle
from mirrorprep.solid.solid import Solid

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class MouldFrame:
    """Axes of the mould, and the parting surface seen in them.

    The coordinates are u (across), v (up while pouring) and w (pull).

    Attributes
    ----------
    parting : PartingSurface
        In its own pull frame.
    up_uv : (2,) float64
        Unit direction in the parting surface's uv-plane that is up while pouring.
    """

    parting: PartingSurface
    up_uv: FloatArray

    @property
    def turn(self) -> FloatArray:
        """Rotation (3, 3) from mould coordinates to the parting surface's pull frame."""
        x, y = self.up_uv
        return np.array([[y, x, 0.0], [-x, y, 0.0], [0.0, 0.0, 1.0]])

    @property
    def rotation(self) -> FloatArray:
        """Rotation (3, 3) from mould coordinates to the part's; its columns are across, up and pull."""
        return np.asarray(self.parting.frame @ self.turn)

    def to_mould(self, solid: Solid) -> Solid:
        """Return a solid given in the part's coordinates, in mould coordinates."""
        return solid.transformed(_rigid(self.rotation.T))

    def to_part(self, solid: Solid) -> Solid:
        """Return a solid given in mould coordinates, in the part's coordinates."""
        return solid.transformed(_rigid(self.rotation))

    def points_to_mould(self, points_mm: ArrayLike) -> FloatArray:
        """Return (n, 3) points of the part's coordinates in mould coordinates."""
        return np.asarray(points_mm, dtype=np.float64) @ self.rotation

    def points_to_part(self, points_mm: ArrayLike) -> FloatArray:
        """Return (n, 3) points of mould coordinates in the part's coordinates."""
        return np.asarray(points_mm, dtype=np.float64) @ self.rotation.T

    def height_mm(self, uv: ArrayLike) -> FloatArray:
        """Return the parting surface's height over (n, 2) points of mould coordinates."""
        points = np.asarray(uv, dtype=np.float64).reshape(-1, 2)
        return self.parting.height_mm(points @ self.turn[:2, :2].T)

    def below(self, low_uv: ArrayLike, high_uv: ArrayLike, floor_mm: float) -> Solid:
        """Return at least everything below the parting surface within a rectangle, down to a floor."""
        corners = rectangle(low_uv, high_uv).loops[0] @ self.turn[:2, :2].T
        low, high = corners.min(axis=0) - 1.0, corners.max(axis=0) + 1.0
        return self.parting.solid_below(low, high, floor_mm).transformed(_rigid(self.turn.T))


def _rigid(rotation: FloatArray) -> FloatArray:
    matrix = np.eye(4)
    matrix[:3, :3] = rotation
    return matrix

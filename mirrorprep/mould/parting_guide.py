"""Guides: places that the parting surface must pass through."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mirrorprep.errors import UsageError

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Guide:
    """A strip or pad that the parting surface must follow, in the pull frame.

    Attributes
    ----------
    start_mm, stop_mm : (3,) float64
        Ends of a channel's axis, which the surface then holds. Equal for a pad; a pad whose height is NaN
        takes the height that suits the surface.
    half_width_mm : float
        Half the width of the strip, or the radius of the pad, over which the surface is straight.

    Examples
    --------
    >>> strip = Guide.channel([0, 0, 1], [10, 0, 3], 2.0)
    >>> strip.distance_mm(np.array([[5.0, 1.5]])).tolist(), strip.height_mm(np.array([[5.0, 1.5]])).tolist()
    ([1.5], [2.0])
    """

    start_mm: FloatArray
    stop_mm: FloatArray
    half_width_mm: float

    def __post_init__(self) -> None:
        if not (np.isfinite(self.half_width_mm) and self.half_width_mm > 0.0):
            raise UsageError(
                f"A guide's half width is {self.half_width_mm} mm.", remedy="Give a width above 0 mm."
            )

    @classmethod
    def channel(cls, start_mm: ArrayLike, stop_mm: ArrayLike, half_width_mm: float) -> "Guide":
        """Return the guide for a channel whose axis runs from one point to another (u, v, z)."""
        return cls(
            start_mm=np.array(start_mm, dtype=np.float64),
            stop_mm=np.array(stop_mm, dtype=np.float64),
            half_width_mm=float(half_width_mm),
        )

    @classmethod
    def pad(cls, center_uv: ArrayLike, radius_mm: float) -> "Guide":
        """Return the guide for a level pad, as a register key needs it."""
        point = np.append(np.asarray(center_uv, dtype=np.float64), np.nan)
        return cls(start_mm=point, stop_mm=point, half_width_mm=float(radius_mm))

    @property
    def floats(self) -> bool:
        """True for a pad without a height of its own."""
        return bool(np.isnan(self.start_mm[2]) or np.isnan(self.stop_mm[2]))

    def share(self, uv: FloatArray) -> FloatArray:
        """Return how far along the axis, 0 to 1, the nearest axis point to each of (n, 2) points lies."""
        along = self.stop_mm[:2] - self.start_mm[:2]
        square = float(along @ along)
        if square == 0.0:
            return np.zeros(len(uv))
        return np.asarray(np.clip((uv - self.start_mm[:2]) @ along / square, 0.0, 1.0))

    def distance_mm(self, uv: FloatArray) -> FloatArray:
        """Return the distance of (n, 2) points from the axis."""
        nearest = self.start_mm[:2] + np.outer(self.share(uv), self.stop_mm[:2] - self.start_mm[:2])
        return np.asarray(np.linalg.norm(uv - nearest, axis=1))

    def height_mm(self, uv: FloatArray) -> FloatArray:
        """Return the axis' height beside (n, 2) points."""
        return np.asarray(self.start_mm[2] + self.share(uv) * (self.stop_mm[2] - self.start_mm[2]))

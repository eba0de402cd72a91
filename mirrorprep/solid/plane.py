"""Plane: a unit normal and an offset."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mirrorprep.errors import UsageError
from mirrorprep.solid.mesh import frozen


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Plane:
    """The points p with ``normal · p = offset_mm``.

    Attributes
    ----------
    normal : (3,) float64, read-only
        Unit normal; the constructor scales it.
    offset_mm : float
        Signed distance of the plane from the origin along the normal.

    Examples
    --------
    >>> Plane(normal=[0, 0, 2], offset_mm=4.0).distance_mm([[0, 0, 5]]).tolist()
    [1.0]
    """

    normal: NDArray[np.float64]
    offset_mm: float

    def __post_init__(self) -> None:
        normal = np.array(self.normal, dtype=np.float64)
        length = float(np.linalg.norm(normal))
        if normal.shape != (3,) or not np.isfinite(length) or length == 0.0:
            raise UsageError(
                f"{normal.tolist()} is not a normal.", remedy="Give three numbers, not all zero."
            )
        object.__setattr__(self, "normal", frozen(normal / length, np.float64))
        object.__setattr__(self, "offset_mm", float(self.offset_mm))

    def __getstate__(self) -> tuple[object, ...]:
        return (self.normal, self.offset_mm)

    def __setstate__(self, state: tuple[Any, ...]) -> None:
        object.__setattr__(self, "normal", frozen(state[0], np.float64))
        object.__setattr__(self, "offset_mm", state[1])

    @classmethod
    def through(cls, point: ArrayLike, normal: ArrayLike) -> "Plane":
        """Return the plane through `point` with the given normal."""
        unit = np.asarray(normal, dtype=np.float64)
        unit = unit / np.linalg.norm(unit)
        return cls(normal=unit, offset_mm=float(unit @ np.asarray(point, dtype=np.float64)))

    def distance_mm(self, points: ArrayLike) -> NDArray[np.float64]:
        """Return the signed distances of (n, 3) points in mm."""
        return np.asarray(np.asarray(points, dtype=np.float64) @ self.normal - self.offset_mm)

    def angle_deg(self, other: "Plane") -> float:
        """Return the angle between two planes, 0 to 90 degrees."""
        sine = float(np.linalg.norm(np.cross(self.normal, other.normal)))
        return float(np.degrees(np.arctan2(sine, abs(float(self.normal @ other.normal)))))

    def as_dict(self) -> dict[str, object]:
        """Return plain data for JSON."""
        return {"normal": self.normal.tolist(), "offset_mm": self.offset_mm}

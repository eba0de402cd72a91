"""What is true of a generated shape."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass

import numpy as np
from numpy.typing import NDArray

from mirrorprep.solid.plane import Plane
from mirrorprep.solid.solid import Solid


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueValues:
    """Values of a closed shape as generated, before any damage.

    Attributes
    ----------
    name : str
        Name of the shape.
    triangles : int
        Number of triangles.
    volume_mm3, area_mm2 : float
        Enclosed volume and surface area of the triangles.
    size_mm : tuple of float
        Extent of the bounding box.
    plane_normal, plane_offset_mm : tuple of float, float or None
        The plane the shape was built around, None for shapes without one.
    landmarks_mm : dict
        Positions by name.
    lengths_mm : dict
        Named distances between landmarks.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import box
    >>> true_values("box", box([1, 2, 3])).area_mm2
    22.0
    """

    name: str
    triangles: int
    volume_mm3: float
    area_mm2: float
    size_mm: tuple[float, float, float]
    plane_normal: tuple[float, float, float] | None = None
    plane_offset_mm: float | None = None
    landmarks_mm: dict[str, tuple[float, float, float]]
    lengths_mm: dict[str, float]

    def as_dict(self) -> dict[str, object]:
        """Return plain data for JSON, without empty entries."""
        return {key: value for key, value in asdict(self).items() if value not in (None, {})}


def true_values(
    name: str,
    solid: Solid,
    *,
    landmarks_mm: Mapping[str, NDArray[np.float64]] | None = None,
    lengths_mm: dict[str, float] | None = None,
    plane: Plane | None = None,
) -> TrueValues:
    """Return the values of a closed shape."""
    low, high = solid.bounds_mm
    marks = landmarks_mm or {}
    return TrueValues(
        name=name,
        triangles=len(solid.mesh.faces),
        volume_mm3=solid.mass_properties.volume_mm3,
        area_mm2=solid.mass_properties.area_mm2,
        size_mm=_triple(high - low),
        plane_normal=_triple(plane.normal) if plane else None,
        plane_offset_mm=plane.offset_mm if plane else None,
        landmarks_mm={mark: _triple(place) for mark, place in marks.items()},
        lengths_mm=lengths_mm or {},
    )


def _triple(numbers: NDArray[np.float64]) -> tuple[float, float, float]:
    x, y, z = numbers.tolist()
    return x, y, z

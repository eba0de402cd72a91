"""Section: regions of a plane with holes, and the way from a solid to a region and back."""

from collections.abc import Iterable, Sequence
from typing import Any

import manifold3d
import numpy as np
from numpy.typing import ArrayLike, NDArray

from mirrorprep.errors import BooleanFailedError
from mirrorprep.solid.solid import Solid

FloatArray = NDArray[np.float64]
_ARC_SEGMENTS = 48


class Section:
    """A region of the uv-plane in millimetres, bounded by loops, never changed in place.

    Examples
    --------
    >>> ring = disc((0, 0), 5.0) - disc((0, 0), 3.0)
    >>> ring.contains([[4.0, 0.0], [0.0, 0.0]]).tolist()
    [True, False]
    """

    def __init__(self, region: Any) -> None:  # noqa: ANN401 - the kernel's own handle
        self._region = region

    @property
    def region(self) -> Any:  # noqa: ANN401
        """The kernel's handle, for use inside the solid room only."""
        return self._region

    @property
    def loops(self) -> list[FloatArray]:
        """Boundary loops, each (n, 2): outer ones counter-clockwise, holes clockwise."""
        return [np.array(loop, dtype=np.float64) for loop in self._region.to_polygons()]

    @property
    def area_mm2(self) -> float:
        """Area without the holes."""
        return float(self._region.area())

    @property
    def length_mm(self) -> float:
        """Length of all outlines.

        Examples
        --------
        >>> rectangle([0, 0], [3, 2]).length_mm
        10.0
        """
        sides = [loop - np.roll(loop, 1, axis=0) for loop in self.loops]
        return float(sum(np.hypot(*side.T).sum() for side in sides))

    @property
    def bounds_mm(self) -> FloatArray:
        """Lowest and highest corner, shape (2, 2)."""
        return np.array(self._region.bounds(), dtype=np.float64).reshape(2, 2)

    @property
    def is_empty(self) -> bool:
        """True when nothing is left."""
        return bool(self._region.is_empty())

    def __add__(self, other: "Section") -> "Section":
        return Section(self._region + other.region)

    def __sub__(self, other: "Section") -> "Section":
        return Section(self._region - other.region)

    def __and__(self, other: "Section") -> "Section":
        return Section(self._region ^ other.region)

    def offset(self, distance_mm: float) -> "Section":
        """Return the region grown (or shrunk, when negative) by a distance, with round corners."""
        if distance_mm == 0.0:
            return self
        grown = self._region.offset(float(distance_mm), circular_segments=_ARC_SEGMENTS)
        return Section(grown.simplify(1e-3))

    def contains(self, points_uv: ArrayLike) -> NDArray[np.bool_]:
        """Tell for (n, 2) points whether they lie inside (even-odd rule)."""
        points = np.asarray(points_uv, dtype=np.float64).reshape(-1, 2)
        inside = np.zeros(len(points), dtype=bool)
        for loop in self.loops:
            start, stop = loop, np.roll(loop, -1, axis=0)
            for (x0, y0), (x1, y1) in zip(start, stop, strict=True):
                if y0 != y1:
                    between = (points[:, 1] >= y0) != (points[:, 1] >= y1)
                    inside ^= between & (points[:, 0] < x0 + (points[:, 1] - y0) * (x1 - x0) / (y1 - y0))
        return inside

    def extruded(self, low_mm: float, high_mm: float) -> Solid:
        """Return the prism over the region between two heights."""
        body = manifold3d.Manifold.extrude(self._region, float(high_mm - low_mm))
        return Solid(body).translated((0.0, 0.0, low_mm))


def polygon(loop_uv: ArrayLike) -> Section:
    """Return the region inside one loop (n, 2), whichever way it runs."""
    loop = np.array(loop_uv, dtype=np.float64)
    return Section(manifold3d.CrossSection([loop], manifold3d.FillRule.NonZero))


def rectangle(low_uv: ArrayLike, high_uv: ArrayLike) -> Section:
    """Return the rectangle between two corners.

    Examples
    --------
    >>> rectangle([0, 0], [2, 3]).area_mm2
    6.0
    """
    (x0, y0), (x1, y1) = np.asarray(low_uv, dtype=np.float64), np.asarray(high_uv, dtype=np.float64)
    return polygon([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])


def disc(center_uv: ArrayLike, radius_mm: float, *, segments: int = _ARC_SEGMENTS) -> Section:
    """Return the regular polygon inscribed in a circle."""
    angle = 2.0 * np.pi * (np.arange(segments) + 0.5) / segments
    circle = np.column_stack([np.cos(angle), np.sin(angle)])
    return polygon(np.asarray(center_uv, dtype=np.float64) + radius_mm * circle)


def hull_section(points_uv: ArrayLike) -> Section:
    """Return the convex hull of (n, 2) points."""
    return Section(manifold3d.CrossSection.hull_points(np.array(points_uv, dtype=np.float64)))


def shifted(section: Section, shift_uv: ArrayLike) -> Section:
    """Return a region moved by a vector.

    Examples
    --------
    >>> shifted(rectangle([0, 0], [2, 3]), [5, 6]).bounds_mm.tolist()
    [[5.0, 6.0], [7.0, 9.0]]
    """
    return Section(section.region.translate(tuple(np.asarray(shift_uv, dtype=np.float64).tolist())))


def merged(sections: Iterable[Section]) -> Section:
    """Return the union of any number of regions."""
    regions = [section.region for section in sections]
    return Section(manifold3d.CrossSection.batch_boolean(regions, manifold3d.OpType.Add))


def silhouette(solid: Solid) -> Section:
    """Return the shadow of a solid on the xy-plane.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import box
    >>> round(silhouette(box([2, 3, 4])).area_mm2, 9)
    6.0
    """
    loops = solid.body.project().to_polygons()
    return Section(manifold3d.CrossSection(loops, manifold3d.FillRule.Positive))


def level_section(solid: Solid, height_mm: float) -> Section:
    """Return the cut of a solid at one height.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import box
    >>> round(level_section(box([2, 3, 4]), 1.0).area_mm2, 9)
    6.0
    """
    return Section(solid.body.slice(float(height_mm)))


def hull_solid(points_mm: Sequence[ArrayLike] | FloatArray) -> Solid:
    """Return the convex hull of (n, 3) points.

    Raises
    ------
    BooleanFailedError
        If the points span no volume.

    Examples
    --------
    >>> round(hull_solid([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]]).volume_mm3, 9)
    0.166666667
    """
    points = np.array(points_mm, dtype=np.float64)
    body = manifold3d.Manifold.hull_points(points)
    if body.is_empty() or body.volume() <= 0.0:
        raise BooleanFailedError(
            f"{len(points)} points span no volume.", remedy="Give points that do not lie in one plane."
        )
    return Solid(body)

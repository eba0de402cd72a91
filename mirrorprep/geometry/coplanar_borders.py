"""Borders that lie in one plane, one within the other: the rim of a cut through a hollow body."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from mirrorprep.geometry.borders import Border

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_FLATNESS: Final = 0.01
_PARALLEL: Final = 0.999


@dataclass(frozen=True, slots=True, eq=False)
class _Rim:
    normal: FloatArray
    center: FloatArray
    thickness_mm: float
    area_mm2: float


def join_coplanar(vertices: FloatArray, borders: list[Border]) -> list[Border]:
    """Return the borders, those within another one in the same plane joined to it by a bridge.

    Parameters
    ----------
    vertices : (n, 3) float64
        Positions.
    borders : list of Border
        In the direction a filling must run, so that an inner border runs the other way round.

    Returns
    -------
    list of Border
        A joined border visits the two ends of each bridge twice; one filling closes all its parts.

    Examples
    --------
    >>> outer = np.array([[0.0, 0, 0], [9, 0, 0], [9, 9, 0], [0, 9, 0]])
    >>> inner = np.array([[3.0, 3, 0], [3, 6, 0], [6, 6, 0], [6, 3, 0]])
    >>> rims = [Border(corners=np.arange(4) + i, wings=np.zeros(4, dtype=int)) for i in (0, 4)]
    >>> [len(border.corners) for border in join_coplanar(np.concatenate([outer, inner]), rims)]
    [10]
    """
    rims = [_rim(vertices[border.corners]) for border in borders]
    order = sorted(range(len(borders)), key=lambda i: -rims[i].area_mm2)
    host: dict[int, int] = {}
    for place, inner in enumerate(order):
        for outer in reversed(order[:place]):
            if outer not in host and _within(vertices, borders, rims, inner, outer):
                host[inner] = outer
                break
    joined = []
    for number, border in enumerate(borders):
        if number not in host:
            whole, waiting = border, [borders[i] for i in order if host.get(i) == number]
            while waiting:
                bridges = [_bridge(vertices, whole, inner) for inner in waiting]
                nearest = min(range(len(waiting)), key=lambda i: bridges[i][0])
                whole = _bridged(whole, waiting.pop(nearest), *bridges[nearest][1:])
            joined.append(whole)
    return joined


def _rim(points: FloatArray) -> _Rim:
    center = points.mean(axis=0)
    spokes = points - center
    doubled = np.cross(spokes, np.roll(spokes, -1, axis=0)).sum(axis=0)
    area = float(np.linalg.norm(doubled))
    normal = doubled / max(area, 1e-300)
    return _Rim(normal, center, float(np.abs(spokes @ normal).max()), area / 2.0)


def _within(vertices: FloatArray, borders: list[Border], rims: list[_Rim], inner: int, outer: int) -> bool:
    """Whether the inner border lies flat in the plane of the outer, inside it, and runs the other way."""
    small, large = rims[inner], rims[outer]
    size = float(np.sqrt(large.area_mm2))
    apart = abs(float((small.center - large.center) @ large.normal))
    if max(small.thickness_mm, large.thickness_mm, apart) > _FLATNESS * size:
        return False
    if -float(small.normal @ large.normal) < _PARALLEL:
        return False
    helper = np.eye(3)[int(np.argmin(np.abs(large.normal)))]
    across = np.cross(large.normal, helper)
    frame = np.column_stack([across, np.cross(large.normal, across)])
    polygon = vertices[borders[outer].corners] @ frame
    return bool(_odd(vertices[borders[inner].corners] @ frame, polygon).all())


def _odd(points: FloatArray, polygon: FloatArray) -> NDArray[np.bool_]:
    """Return which points lie within the polygon (crossing parity)."""
    start, stop = polygon, np.roll(polygon, -1, axis=0)
    above = (start[:, 1] > points[:, 1, None]) != (stop[:, 1] > points[:, 1, None])
    rise = np.where(stop[:, 1] == start[:, 1], 1.0, stop[:, 1] - start[:, 1])
    place = start[:, 0] + (points[:, 1, None] - start[:, 1]) / rise * (stop[:, 0] - start[:, 0])
    return np.asarray((above & (points[:, 0, None] < place)).sum(axis=1) % 2 == 1)


def _bridge(vertices: FloatArray, outer: Border, inner: Border) -> tuple[float, int, int]:
    """Return the length of the shortest bridge and the places of its ends."""
    apart = np.linalg.norm(vertices[outer.corners][:, None] - vertices[inner.corners][None], axis=2)
    i, j = np.unravel_index(int(np.argmin(apart)), apart.shape)
    return float(apart[i, j]), int(i), int(j)


def _bridged(outer: Border, inner: Border, i: int, j: int) -> Border:
    """Return one border that goes around the outer, over the bridge, around the inner and back."""
    corners, wings = (np.roll(part, -j) for part in (inner.corners, inner.wings))
    return Border(
        corners=np.concatenate([outer.corners[: i + 1], corners, corners[:1], outer.corners[i:]]),
        wings=np.concatenate([outer.wings[: i + 1], wings, wings[:1], outer.wings[i:]]),
    )

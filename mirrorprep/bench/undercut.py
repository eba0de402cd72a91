"""What a part traps along a pull direction that is turned by hand: quick enough to follow the hand.

Each direction costs one pass of a column raster over the part itself and one distance transform.
"""

import time
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.ndimage import distance_transform_edt, maximum_filter

from mirrorprep.geometry.column_raster import column_intervals
from mirrorprep.mould.undercut import raster_frame, unit_direction

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

VOXELS: Final = 112


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class HandUndercut:
    """What two rigid halves trap along one direction.

    Attributes
    ----------
    depth_mm : (n,) float64
        For each place how deep the mould beside it is hooked: the distance, across the pull, from trapped
        mould to what comes free. 0 where the part comes free.
    bound_mm3 : float
        The least that any parting surface traps.
    plane_trapped_mm3, plane_offset_mm : float
        What the best plane across the direction traps, and where it lies along the direction.
    volume_mm3 : float
        The part's volume as the columns see it.
    voxel_mm : float
        Distance between columns; depths are uncertain by half of it.
    took_s : float
        Wall time of the computation.
    """

    depth_mm: FloatArray
    bound_mm3: float
    plane_trapped_mm3: float
    plane_offset_mm: float
    volume_mm3: float
    voxel_mm: float
    took_s: float

    def as_dict(self, *, plane: bool = False) -> dict[str, float]:
        """Return the figures; `plane` takes the best plane's volume for the trapped one."""
        trapped = self.plane_trapped_mm3 if plane else self.bound_mm3
        names = ("bound_mm3", "plane_trapped_mm3", "plane_offset_mm", "volume_mm3", "voxel_mm", "took_s")
        share = trapped / self.volume_mm3 if self.volume_mm3 > 0.0 else 0.0
        return {"trapped_mm3": trapped, "share": share, **{name: getattr(self, name) for name in names}}


class UndercutFollower:
    """A part prepared for many pull directions.

    Parameters
    ----------
    vertices : (n, 3) float64
        Positions, mm.
    faces : (m, 3) int64
        Closed, counter-clockwise from outside.
    at : (k, 3) float64, optional
        Where depths are wanted; the part's vertices when left out.
    voxels : int
        Columns along the part's longest side.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import box
    >>> plate = box([20, 20, 4]) + box([4, 4, 20], center_mm=[8, 8, 10])
    >>> follower = UndercutFollower(plate.mesh.vertices, plate.mesh.faces)
    >>> follower.along([0, 0, 1]).bound_mm3 < 1e-6
    True
    >>> bool(follower.along([1, 1, 0.3]).bound_mm3 > 100.0)
    True
    """

    def __init__(
        self, vertices: FloatArray, faces: IntArray, *, at: FloatArray | None = None, voxels: int = VOXELS
    ) -> None:
        places = np.asarray(vertices, dtype=np.float64)
        self._middle = places.mean(axis=0)
        self._vertices = places - self._middle
        self._at = self._vertices if at is None else np.asarray(at, dtype=np.float64) - self._middle
        self._faces = np.asarray(faces, dtype=np.int64)
        self.size_mm = float(np.ptp(places, axis=0).max())
        self._spacing = self.size_mm / voxels

    def along(self, direction: ArrayLike, *, plane: bool = False) -> HandUndercut:
        """Measure what is trapped along a direction, for the best surface or, asked for, the best plane.

        Raises
        ------
        UsageError
            If it is no direction.
        """
        began = time.perf_counter()
        unit = unit_direction(direction)
        frame = raster_frame(unit)
        points = self._vertices @ frame
        low, high = points.min(axis=0), points.max(axis=0)
        shape = tuple(int(n) for n in np.maximum(np.ceil((high - low) / self._spacing), 1))
        origin = (low + high) / 2.0 - self._spacing * (np.array(shape) - 1) / 2.0
        column, enter, leave = column_intervals(
            points, self._faces, origin[:2], self._spacing, (shape[0], shape[1])
        )
        met = _Met.of(column, enter, leave, shape[0] * shape[1])
        offset = float(np.median(np.concatenate([met.top, met.bottom]))) if len(met.top) else 0.0
        cell = self._spacing**2
        gap = float((met.top - met.bottom - met.thickness).sum())
        missed = float((np.maximum(offset - met.top, 0.0) + np.maximum(met.bottom - offset, 0.0)).sum())
        solid = _voxels(column, (enter, leave), origin[2], self._spacing, shape)
        held = _held(solid, None if not plane else (offset - origin[2]) / self._spacing)
        return HandUndercut(
            depth_mm=self._depth(self._at @ frame, solid, held, origin),
            bound_mm3=max(gap, 0.0) * cell,
            plane_trapped_mm3=max(gap + missed, 0.0) * cell,
            plane_offset_mm=offset + float(unit @ self._middle),
            volume_mm3=float(met.thickness.sum()) * cell,
            voxel_mm=self._spacing,
            took_s=time.perf_counter() - began,
        )

    def _depth(self, points: FloatArray, solid: BoolArray, held: BoolArray, origin: FloatArray) -> FloatArray:
        """Return the depth beside each point."""
        if not held.any():
            return np.zeros(len(points))
        layers = np.flatnonzero(held.any(axis=(0, 1)))
        first, last = int(layers[0]), int(layers[-1]) + 1
        blocked = np.pad(solid[:, :, first:last] | held[:, :, first:last], ((1, 1), (1, 1), (0, 0)))
        far = float(sum(blocked.shape))  # slices so far apart that none sees its neighbour
        away = distance_transform_edt(blocked, sampling=(1.0, 1.0, far))[1:-1, 1:-1]
        depth = np.zeros(solid.shape, dtype=np.float32)
        depth[:, :, first:last] = np.where(held[:, :, first:last], (away - 0.5) * self._spacing, 0.0)
        spread = maximum_filter(depth, size=3)
        index = np.rint((points - origin) / self._spacing).astype(np.int64)
        index = np.clip(index, 0, np.array(solid.shape) - 1)
        return np.asarray(spread[index[:, 0], index[:, 1], index[:, 2]], dtype=np.float64)


@dataclass(frozen=True, slots=True, eq=False)
class _Met:
    """The columns that meet the part: lowest and highest point, and the length inside."""

    bottom: FloatArray
    top: FloatArray
    thickness: FloatArray

    @classmethod
    def of(cls, column: IntArray, enter: FloatArray, leave: FloatArray, count: int) -> "_Met":
        first = np.flatnonzero(np.diff(column, prepend=-1))
        last = np.append(first[1:], len(column)) - 1
        thickness = np.asarray(np.bincount(column, weights=leave - enter, minlength=count), dtype=np.float64)
        return cls(enter[first], leave[last], thickness[column[first]])


def _voxels(
    column: IntArray,
    ends: tuple[FloatArray, FloatArray],
    start: float,
    spacing: float,
    shape: tuple[int, ...],
) -> BoolArray:
    """Return which voxel middles lie inside, shape (nu, nv, nz)."""
    first, last = (np.clip(np.ceil((end - start) / spacing), 0, shape[2]).astype(np.int64) for end in ends)
    width = shape[2] + 1
    count = shape[0] * shape[1] * width
    steps = np.bincount(column * width + first, minlength=count) - np.bincount(
        column * width + last, minlength=count
    )
    inside = np.cumsum(steps.reshape(-1, width).astype(np.int8), axis=1, dtype=np.int8)[:, :-1]
    return np.asarray((inside > 0).reshape(shape))


def _held(solid: BoolArray, plane: float | None) -> BoolArray:
    """Return the empty voxels that cannot be carried away: between part and part, or past a plane."""
    above = np.logical_or.accumulate(solid[:, :, ::-1], axis=2)[:, :, ::-1]
    below = np.logical_or.accumulate(solid, axis=2)
    if plane is None:
        return np.asarray(~solid & above & below)
    upper = np.arange(solid.shape[2]) >= plane
    return np.asarray(~solid & np.where(upper, above, below))

"""Nearest samples by table: a lattice over the scan, separately for six ranges of normals."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from mirrorprep.symmetry.cloud import Cloud

FloatArray = NDArray[np.float64]
Float32Array = NDArray[np.float32]
IntArray = NDArray[np.int64]
Int32Array = NDArray[np.int32]
BoolArray = NDArray[np.bool_]

CELLS = 64
MARGIN = 0.05
CLASS_COSINE = 0.2
UNKNOWN_WITHIN = 0.02


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Lattice:
    """The sample nearest to every cell, for six ranges of normals and for all.

    Attributes
    ----------
    origin, cell : (3,) float64, float
        Lowest corner and width of the cells, in the cloud's units.
    shape : (3,) int64
        Number of cells along each axis.
    oriented : (6 · cells,) int32
        Nearest sample whose normal points along +x, −x, +y, −y, +z, −z; −1 when there is none.
    excused : (cells,) bool
        Cells where a missing surface is no contradiction.
    points, normals : (3, n + 1) float32
        The smoothed samples by column, the last one far away and without a direction.
    border : (n + 1,) bool
        Samples whose matches do not count.
    """

    origin: FloatArray
    cell: float
    shape: IntArray
    oriented: Int32Array
    excused: BoolArray
    points: Float32Array
    normals: Float32Array
    border: BoolArray

    def cells(self, x: Float32Array, y: Float32Array, z: Float32Array) -> Int32Array:
        """Return the number of the cell of each place, the nearest one for places outside."""
        scale = np.float32(1.0 / self.cell)
        index: Int32Array | None = None
        for axis, place in enumerate((x, y, z)):
            step = (place - np.float32(self.origin[axis])) * scale
            np.clip(step, np.float32(0.0), np.float32(self.shape[axis] - 1), out=step)
            along = step.astype(np.int32)
            index = along if index is None else index * np.int32(self.shape[axis]) + along
        assert index is not None  # noqa: S101
        return index

    @property
    def count(self) -> int:
        """Number of cells."""
        return int(np.prod(self.shape))


def normal_class(normals: FloatArray) -> IntArray:
    """Return 0 to 5 for the axis and sign that (..., 3) normals point along most."""
    axis = np.abs(normals).argmax(axis=-1)
    along = np.take_along_axis(normals, axis[..., None], axis=-1)[..., 0]
    return np.asarray(2 * axis + (along < 0.0))


def build(cloud: Cloud) -> Lattice:
    """Build the lattice of a cloud."""
    low, high = cloud.points.min(axis=0) - MARGIN, cloud.points.max(axis=0) + MARGIN
    cell = float((high - low).max()) / CELLS
    shape = np.maximum(np.ceil((high - low) / cell).astype(np.int64), 1)
    place = np.clip(((cloud.smooth_points - low) / cell).astype(np.int64), 0, shape - 1)
    flat = np.ravel_multi_index(tuple(place.T), tuple(shape))
    layers = [
        _nearest(flat[chosen], chosen, shape)
        for axis in range(3)
        for sign in (1.0, -1.0)
        for chosen in [np.flatnonzero(sign * cloud.smooth_normals[:, axis] > CLASS_COSINE)]
    ]
    nearest = _nearest(flat, np.arange(len(flat)), shape)
    return Lattice(
        origin=low,
        cell=cell,
        shape=shape,
        oriented=np.concatenate(layers),
        excused=_excused(cloud, nearest, low, cell, shape),
        points=np.append(cloud.smooth_points, np.full((1, 3), 9.0), axis=0).T.astype(np.float32),
        normals=np.append(cloud.smooth_normals, np.zeros((1, 3)), axis=0).T.astype(np.float32),
        border=np.append(cloud.border, True),
    )


def _excused(cloud: Cloud, nearest: Int32Array, low: FloatArray, cell: float, shape: IntArray) -> BoolArray:
    near, place = cloud.edges.distance(cloud.points, reach=UNKNOWN_WITHIN)
    answer = np.zeros(len(nearest), dtype=bool)
    zone = np.flatnonzero(np.isfinite(near)[nearest])
    index = np.stack(np.unravel_index(zone, tuple(shape)), axis=1)
    answer[zone] = cloud.edges.beyond(low + (index + 0.5) * cell, place[nearest[zone]])
    return answer


def _nearest(flat: IntArray, sample: IntArray, shape: IntArray) -> Int32Array:
    holder = np.full(int(np.prod(shape)), -1, dtype=np.int32)
    if len(flat) == 0:
        return holder
    holder[flat] = sample
    empty = (holder < 0).reshape(tuple(shape))
    nearest = ndimage.distance_transform_edt(empty, return_distances=False, return_indices=True)
    return np.asarray(holder[np.ravel_multi_index(tuple(nearest.reshape(3, -1)), tuple(shape))])

"""The winding number of a surface, sampled on a grid by fast convolution."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from mirrorprep.errors import UsageError

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

MOST_SAMPLES: Final = 1 << 23
"""Grid points before padding; about 200 along each side of a cube, 1.5 GiB at work."""

_MARGIN: Final = 4
_CHUNK: Final = 1 << 18


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class WindingField:
    """Winding numbers at grid points.

    Attributes
    ----------
    values : (nx, ny, nz) float64
        Near 1 inside, 0 outside; between the two within about a spacing of the surface.
    origin_mm : (3,) float64
        Place of the first sample.
    spacing_mm : float
        Distance of neighbouring samples.
    """

    values: FloatArray
    origin_mm: FloatArray
    spacing_mm: float


def winding_field(vertices: FloatArray, faces: IntArray, *, spacing_mm: float) -> WindingField:
    """Return the winding number of a surface, closed or not, on a grid around it.

    Parameters
    ----------
    vertices, faces : (n, 3) float64, (m, 3) int64
        Counter-clockwise from outside; holes, crossings and repeated triangles are allowed.
    spacing_mm : float
        Distance of the samples.

    Raises
    ------
    UsageError
        If the grid would have more than `MOST_SAMPLES` points.

    Notes
    -----
    The winding number is the potential of dipoles along the surface normals (A. Jacobson et al., 2013, see
    `mirrorprep.geometry.winding_number`). Area vectors of small triangle parts are spread to the grid points
    around them and convolved with the dipole's kernel in Fourier space, padded so that nothing wraps around.
    The surface where the value passes one half lies within about a tenth of a spacing of a smooth closed
    surface.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import sphere
    >>> ball = sphere(10.0).mesh
    >>> field = winding_field(ball.vertices, ball.faces, spacing_mm=1.0)
    >>> middle = tuple(n // 2 for n in field.values.shape)
    >>> bool(abs(field.values[middle] - 1.0) < 0.02), bool(abs(field.values[0, 0, 0]) < 0.02)
    (True, True)
    """
    used = vertices[np.unique(faces)]
    low, high = used.min(axis=0), used.max(axis=0)
    shape = np.ceil((high - low) / spacing_mm).astype(np.int64) + 2 * _MARGIN + 1
    if float(np.prod(shape.astype(np.float64))) > MOST_SAMPLES:
        finest = spacing_mm * float(np.prod(shape.astype(np.float64)) / MOST_SAMPLES) ** (1.0 / 3.0)
        raise UsageError(
            f"A spacing of {spacing_mm:g} mm needs {float(np.prod(shape.astype(float))):.3g} samples "
            f"(limit {MOST_SAMPLES}).",
            remedy=f"Give {finest * 1.05:.3g} mm or more.",
        )
    origin = (low + high) / 2.0 - (shape - 1) / 2.0 * spacing_mm
    sources = _spread(vertices, faces, origin, spacing_mm, shape)
    return WindingField(values=_convolved(sources, shape), origin_mm=origin, spacing_mm=spacing_mm)


def _spread(
    vertices: FloatArray, faces: IntArray, origin: FloatArray, spacing: float, shape: IntArray
) -> NDArray[np.float32]:
    """Return area vectors on the grid, in squares of the spacing, shape (3, nx, ny, nz)."""
    grid = np.zeros((3, int(np.prod(shape))))
    corners = (vertices[faces] - origin) / spacing
    edge = np.sqrt(((corners - np.roll(corners, 1, axis=1)) ** 2).sum(axis=2).max(axis=1))
    parts = np.maximum(np.ceil(edge / 0.7), 1).astype(np.int64)
    strides = np.array([shape[1] * shape[2], shape[2], 1])
    for number in np.unique(parts):
        group = corners[parts == number]
        weights = _part_centers(int(number))
        step = max(1, _CHUNK // len(weights))
        for start in range(0, len(group), step):
            chunk = group[start : start + step]
            places = np.einsum("pk,fkx->fpx", weights, chunk).reshape(-1, 3)
            area = np.cross(chunk[:, 1] - chunk[:, 0], chunk[:, 2] - chunk[:, 0]) / (2.0 * len(weights))
            vectors = np.repeat(area, len(weights), axis=0)
            cell = np.floor(places).astype(np.int64)
            within = places - cell
            for corner in np.ndindex(2, 2, 2):
                share = np.prod(np.where(corner, within, 1.0 - within), axis=1)
                index = (cell + corner) @ strides
                for axis in range(3):
                    grid[axis] += np.bincount(index, share * vectors[:, axis], grid.shape[1])
    return grid.reshape(3, *shape).astype(np.float32)


def _part_centers(number: int) -> FloatArray:
    """Return barycentric centres of the number² similar parts of a triangle."""
    i, j = (part.ravel() for part in np.meshgrid(np.arange(number), np.arange(number), indexing="ij"))
    upward, downward = i + j < number, i + j < number - 1
    first = np.stack([i[upward] + 1 / 3, j[upward] + 1 / 3], axis=1)
    second = np.stack([i[downward] + 2 / 3, j[downward] + 2 / 3], axis=1)
    both = np.concatenate([first, second]) / number
    return np.column_stack([1.0 - both.sum(axis=1), both])


def _convolved(sources: NDArray[np.float32], shape: IntArray) -> FloatArray:
    padded = [fft.next_fast_len(int(2 * n - 1), real=True) for n in shape]
    axes = [
        np.minimum(np.arange(n), n - np.arange(n)) * np.where(np.arange(n) <= n // 2, 1, -1) for n in padded
    ]
    x, y, z = np.meshgrid(*(a.astype(np.float32) for a in axes), indexing="ij", sparse=True)
    square = x * x + y * y + z * z
    square[0, 0, 0] = 1.0
    strength = (-1.0 / (4.0 * np.pi)) / (square * np.sqrt(square))
    total = None
    for axis, offset in enumerate((x, y, z)):
        term = fft.rfftn(offset * strength, workers=-1)
        term *= fft.rfftn(sources[axis], s=padded, workers=-1)
        total = term if total is None else total + term
    values = fft.irfftn(total, s=padded, workers=-1)
    return np.asarray(values[: shape[0], : shape[1], : shape[2]], dtype=np.float64)

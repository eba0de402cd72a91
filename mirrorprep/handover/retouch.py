"""From a drawn panel to a printable one: hollows deepened, outlines and section lines inked, edges smooth."""

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from mirrorprep.handover.palette import INK, rgb
from mirrorprep.handover.panel import Shot

FloatArray = NDArray[np.float64]

OVERSAMPLING: Final = 2
"""Panels are drawn this much larger and averaged down, which smooths their edges."""

CONTOURS: Final = 8
"""Bands of a signed map; lines part those below zero."""

_SURROUNDINGS: Final = ((1 / 150, 2), (1 / 45, 4))
"""Radii as shares of the picture's longer side, and the step of pixels that is fine enough for each."""

_HATCH_SPACING_PX: Final = 11.0
_HATCH_WIDTH_PX: Final = 1.7


def retouched(shot: Shot, *, hollows: float = 0.45) -> NDArray[np.uint8]:
    """Return the picture of a panel, smaller by `OVERSAMPLING`.

    Parameters
    ----------
    shot : Shot
        Drawn at `OVERSAMPLING` times the wanted size.
    hollows : float
        How dark a place gets that lies deeper than its surroundings, 0 to 1; low where colours stand for
        numbers.

    Returns
    -------
    (h, w, 3) uint8

    Notes
    -----
    Hollows: unsharp masking of the depth buffer (Luft, Colditz and Deussen, 2006,
    doi:10.1145/1141911.1142016), here against a plane fitted to the
    surroundings by normalised convolution, so that neither slope nor background takes part.
    Lines: where the second difference of the depth or the body changes. Section lines follow the habit
    of technical drawing (ISO 128-3): thin, parallel, another angle for each part. Contour lines follow
    a signed map where it is below zero, at every eighth of its range.
    """
    cover = 0.9 * _outlines(shot)
    if any(body.hatch_deg is not None for body in shot.bodies):
        cover = np.maximum(cover, 0.55 * _section_lines(shot))
    if any(body.shares is not None for body in shot.bodies):
        cover = np.maximum(cover, 0.4 * _contours_below_zero(shot))
    cover = _averaged(cover[:, :, None])
    light = 1 - hollows * _depth_below_surroundings(shot)[:, :, None]
    picture = _averaged(shot.image) * light * (1 - cover) + (255 * rgb(INK)).astype(np.float32) * cover
    return np.round(picture).astype(np.uint8)


def _averaged(picture: NDArray[Any]) -> NDArray[np.float32]:
    """Return the mean of each block of pixels."""
    height, width = (side // OVERSAMPLING for side in picture.shape[:2])
    total = np.zeros((height, width, picture.shape[2]), dtype=np.float32)
    for row in range(OVERSAMPLING):
        for column in range(OVERSAMPLING):
            block = picture[row : height * OVERSAMPLING : OVERSAMPLING]
            total += block[:, column : width * OVERSAMPLING : OVERSAMPLING]
    return np.asarray(total / OVERSAMPLING**2, dtype=np.float32)


def _depth_below_surroundings(shot: Shot) -> FloatArray:
    """Return from 0 to 1 how much deeper a pixel of the final size lies than its surroundings."""
    height, width = (side // OVERSAMPLING for side in shot.depth_mm.shape)
    depth = shot.depth_mm[: height * OVERSAMPLING : OVERSAMPLING, : width * OVERSAMPLING : OVERSAMPLING]
    depth = depth / (shot.mm_per_px * OVERSAMPLING)
    solid = np.isfinite(depth)
    total = np.zeros(depth.shape, dtype=np.float32)
    if solid.any():
        z = np.where(solid, depth, 0)
        for share, every in _SURROUNDINGS:
            radius_px = max(depth.shape) * share
            coarse = _expected(z[::every, ::every], solid[::every, ::every], radius_px / every, scale=every)
            below_px = z - _between(coarse, depth.shape, every)
            total += np.where(solid, np.clip(below_px / (1.2 * radius_px) - 0.04, 0, 1), 0)
    return np.clip(total / 1.7, 0, 1)


def _expected(z: FloatArray, solid: NDArray[np.bool_], radius: float, *, scale: int) -> FloatArray:
    """Return the depth that the surroundings lead one to expect: the plane fitted to them, at the pixel.

    A fitted plane, and not a mean, keeps flat slanting faces free of shade up to their edges. Pixels are
    `scale` units of depth apart.
    """
    weight, deep = solid.astype(np.float64), z.astype(np.float64)
    y, x = (scale * side for side in np.indices(z.shape, dtype=np.float64))
    wx, wy = weight * x, weight * y
    sums = [_blurred(f, radius) for f in (weight, wx, wy, wx * x, wx * y, wy * y, deep, deep * x, deep * y)]
    count = np.maximum(sums[0], 1e-6)
    mx, my, xx, xy, yy, mz, xz, yz = (total / count for total in sums[1:])
    vxx, vxy, vyy = xx - mx * mx + 1e-3, xy - mx * my, yy - my * my + 1e-3
    cxz, cyz = xz - mx * mz, yz - my * mz
    slope_x = (vyy * cxz - vxy * cyz) / (vxx * vyy - vxy * vxy)
    slope_y = (vxx * cyz - vxy * cxz) / (vxx * vyy - vxy * vxy)
    return np.asarray(mz + slope_x * (x - mx) + slope_y * (y - my))


def _blurred(values: FloatArray, radius_px: float) -> FloatArray:
    """Return a near-Gaussian blur: two running means, whose cost does not grow with the radius."""
    size = max(3, round(radius_px * 2.2) | 1)
    for _ in range(2):
        values = ndimage.uniform_filter(values, size, mode="nearest")
    return values


def _between(coarse: FloatArray, shape: tuple[int, ...], every: int) -> NDArray[np.float32]:
    """Return values known at each `every`-th pixel for all pixels, on straight lines between them."""
    values = coarse.astype(np.float32)
    for axis, length in enumerate(shape):
        places = np.arange(length, dtype=np.float32) / every
        low = np.minimum(places.astype(np.int64), max(values.shape[axis] - 2, 0))
        high = np.minimum(low + 1, values.shape[axis] - 1)
        share = (places - low)[:, None] if axis == 0 else places - low
        values = np.take(values, low, axis=axis) * (1 - share) + np.take(values, high, axis=axis) * share
    return values


def _outlines(shot: Shot) -> NDArray[np.float32]:
    numbers = np.array([body.outlined for body in shot.bodies] + [False])
    depth = np.where(np.isfinite(shot.depth_mm), shot.depth_mm, np.float32(1e6))
    step = np.zeros(depth.shape, dtype=bool)
    threshold = np.float32(9.0 * shot.mm_per_px)
    for axis in (0, 1):
        slope = np.diff(depth, axis=axis)
        bend = np.diff(slope, axis=axis) > threshold
        border = np.diff(shot.identity, axis=axis) != 0
        inner = [slice(None), slice(None)]
        inner[axis] = slice(1, -1)
        step[tuple(inner)] |= bend
        inner[axis] = slice(0, -1)
        step[tuple(inner)] |= border
    if not numbers[:-1].all():
        # the background, −1, takes the last entry
        step &= ndimage.binary_dilation(numbers[shot.identity], iterations=2)
    return step.astype(np.float32)


def _section_lines(shot: Shot) -> NDArray[np.float32]:
    rows, columns = (np.arange(side, dtype=np.float32) for side in shot.identity.shape)
    cover = np.zeros(shot.identity.shape, dtype=np.float32)
    for number, body in enumerate(shot.bodies):
        if body.hatch_deg is None:
            continue
        angle = np.radians(body.hatch_deg)
        across = (columns * np.sin(angle) + rows[:, None] * np.cos(angle)) / OVERSAMPLING
        steps = across / np.float32(_HATCH_SPACING_PX)
        line = np.abs(steps - np.rint(steps)) < np.float32(0.5 * _HATCH_WIDTH_PX / _HATCH_SPACING_PX)
        cover[(shot.identity == number) & line] = 1.0
    return cover


def _contours_below_zero(shot: Shot) -> NDArray[np.float32]:
    """Return the lines at each eighth of the range of a signed map, below its middle alone.

    None stands at zero itself, where noise would make it wander.
    """
    band = np.floor(np.minimum(shot.share, np.float32(0.5 - 1e-6)) * CONTOURS)
    lines = np.zeros(band.shape, dtype=np.float32)
    for axis in (0, 1):
        steps = (np.diff(band, axis=axis) != 0) & (np.diff(shot.identity, axis=axis) == 0)
        first = [slice(None), slice(None)]
        first[axis] = slice(0, -1)
        lines[tuple(first)][steps] = 1.0
    return np.asarray(ndimage.maximum_filter(lines, size=2))

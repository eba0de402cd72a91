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
    inner = np.maximum(0.55 * _section_lines(shot), 0.4 * _contours_below_zero(shot))
    cover = np.maximum(inner, 0.9 * _outlines(shot))
    cover = _averaged(cover[:, :, None])
    light = 1 - hollows * _depth_below_surroundings(shot)[:, :, None]
    picture = _averaged(shot.image) * light * (1 - cover) + 255 * rgb(INK) * cover
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
    total = np.zeros(depth.shape)
    if solid.any():
        for radius_px in (max(depth.shape) / 150, max(depth.shape) / 45):
            below_px = np.where(solid, depth, 0.0) - _expected(depth, solid, radius_px)
            total += np.where(solid, np.clip(below_px / (1.2 * radius_px) - 0.04, 0, 1), 0.0)
    return np.clip(total / 1.7, 0, 1)


def _expected(depth: FloatArray, solid: NDArray[np.bool_], radius_px: float) -> FloatArray:
    """Return the depth that the surroundings lead one to expect: the plane fitted to them, at the pixel.

    A fitted plane, and not a mean, keeps flat slanting faces free of shade up to their edges.
    """
    weight = solid.astype(np.float64)
    z = np.where(solid, depth, 0.0)
    y, x = np.indices(depth.shape, dtype=np.float64)
    sums = [
        _blurred(weight * f, radius_px) for f in (np.ones_like(z), x, y, x * x, x * y, y * y, z, x * z, y * z)
    ]
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


def _outlines(shot: Shot) -> FloatArray:
    numbers = np.array([body.outlined for body in shot.bodies] + [False])
    depth = np.where(np.isfinite(shot.depth_mm), shot.depth_mm, 1e6)
    step = np.zeros(depth.shape, dtype=bool)
    threshold = 9.0 * shot.mm_per_px
    for axis in (0, 1):
        bend = np.diff(depth, n=2, axis=axis) > threshold
        border = np.diff(shot.identity, axis=axis) != 0
        inner = [slice(None), slice(None)]
        inner[axis] = slice(1, -1)
        step[tuple(inner)] |= bend
        inner[axis] = slice(0, -1)
        step[tuple(inner)] |= border
    seen = numbers[shot.identity]  # the background, −1, takes the last entry
    near = ndimage.binary_dilation(seen, iterations=2)
    return np.asarray(step & near, dtype=np.float64)


def _section_lines(shot: Shot) -> FloatArray:
    rows, columns = np.indices(shot.identity.shape, dtype=np.float64)
    cover = np.zeros(shot.identity.shape)
    for number, body in enumerate(shot.bodies):
        if body.hatch_deg is None:
            continue
        angle = np.radians(body.hatch_deg)
        across = (columns * np.sin(angle) + rows * np.cos(angle)) / OVERSAMPLING
        line = np.abs((across % _HATCH_SPACING_PX) - _HATCH_SPACING_PX / 2) < _HATCH_WIDTH_PX / 2
        cover[(shot.identity == number) & line] = 1.0
    return cover


def _contours_below_zero(shot: Shot) -> FloatArray:
    """Return the lines at each eighth of the range of a signed map, below its middle alone.

    None stands at zero itself, where noise would make it wander.
    """
    band = np.floor(np.minimum(shot.share, 0.5 - 1e-6) * CONTOURS)
    lines = np.zeros(band.shape)
    for axis in (0, 1):
        steps = (np.diff(band, axis=axis) != 0) & (np.diff(shot.identity, axis=axis) == 0)
        first = [slice(None), slice(None)]
        first[axis] = slice(0, -1)
        lines[tuple(first)][steps] = 1.0
    return np.asarray(ndimage.maximum_filter(lines, size=2))

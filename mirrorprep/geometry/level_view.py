"""The filling cavity from the side: images of the liquid and the air along each line of sight."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mirrorprep.errors import UsageError
from mirrorprep.geometry.air_pockets import AirAnalysis

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class LevelView:
    """One picture of the level.

    Attributes
    ----------
    liquid_mm, open_air_mm, sealed_air_mm : (rows, columns) float64
        Length of each along the line of sight, the lowest row first.
    pixel_mm : float
        Edge of a pixel.
    bottom_mm, left_mm : float
        Height along up, and place along `right`, of the lower left corner.
    right : (3,) float64
        Horizontal direction in which the columns of pixels follow each other.
    level_mm : float
        Height of the liquid.
    """

    liquid_mm: FloatArray
    open_air_mm: FloatArray
    sealed_air_mm: FloatArray
    pixel_mm: float
    bottom_mm: float
    left_mm: float
    right: FloatArray
    level_mm: float


def level_view(
    analysis: AirAnalysis, level_mm: float, *, along: ArrayLike | None = None, pixels: int = 256
) -> LevelView:
    """Return the cavity seen from the side with the liquid at a level.

    Parameters
    ----------
    analysis : AirAnalysis
        From `trapped_air`.
    level_mm : float
        Height of the liquid along up, as in `LevelState.level_mm`.
    along : (3,) array_like, optional
        Line of sight; its horizontal part is used. By default the one that shows the cavity at its widest.
    pixels : int, optional
        Pixels along the longer side.

    Returns
    -------
    LevelView
        Three images that add up to the cavity.

    Raises
    ------
    UsageError
        If `along` is upright.

    Examples
    --------
    >>> from mirrorprep.geometry.air_pockets import level_states, trapped_air
    >>> from mirrorprep.solid.primitives import box
    >>> block = box([10, 20, 40]).mesh
    >>> air = trapped_air(block.vertices, block.faces, up=(0, 0, 1))
    >>> view = level_view(air, level_states(air, [0.25])[0].level_mm, along=(1, 0, 0))
    >>> float(view.liquid_mm.sum() / (view.liquid_mm + view.open_air_mm).sum()).__round__(2)
    0.25
    """
    columns = analysis.columns
    right = _right(analysis, along)
    place = columns.plan_mm @ (columns.frame[:2] @ right)
    half = columns.spacing_mm * np.abs(columns.frame[:2] @ right).sum() / 2.0
    left, bottom = float(place.min()) - half, float(columns.bottom_mm.min())
    size = max(float(place.max()) + half - left, float(columns.top_mm.max()) - bottom)
    pixel = max(size / pixels, columns.spacing_mm)
    shape = (
        int(np.ceil((float(columns.top_mm.max()) - bottom) / pixel + 1e-9)) + 1,
        int(np.ceil((float(place.max()) + half - left) / pixel + 1e-9)) + 2,
    )
    across = np.maximum((place - left) / pixel - 0.5, 0.0)
    target = across.astype(np.int64)
    depth = columns.spacing_mm**2 / pixel
    final = analysis.filled_to_mm
    wet = np.clip(level_mm, columns.bottom_mm, final)
    shut = np.where(analysis.escape_mm < level_mm, final, columns.top_mm)

    def image(low: FloatArray, high: FloatArray) -> FloatArray:
        filled = np.zeros(shape)
        for height, sign in ((high, depth), (low, -depth)):
            row = (height - bottom) / pixel
            for side, share in ((0, target + 1.0 - across), (1, across - target)):
                filled += sign * _below(row, target + side, share, shape)
        return filled

    return LevelView(
        liquid_mm=image(columns.bottom_mm, wet),
        open_air_mm=image(wet, shut),
        sealed_air_mm=image(shut, columns.top_mm),
        pixel_mm=pixel,
        bottom_mm=bottom,
        left_mm=left,
        right=right,
        level_mm=float(level_mm),
    )


def _below(height: FloatArray, column: IntArray, weight: FloatArray, shape: tuple[int, int]) -> FloatArray:
    """Return the weighted share of each pixel that lies below the heights (in pixels) of its column."""
    row = np.clip(np.floor(height).astype(np.int64), 0, shape[0] - 1)
    flat = row * shape[1] + column
    size = shape[0] * shape[1]
    count = np.bincount(flat, weights=weight, minlength=size).reshape(shape)
    share = np.bincount(flat, weights=weight * (height - row), minlength=size).reshape(shape)
    above = np.cumsum(count[::-1], axis=0)[::-1] - count
    return np.asarray(above + share)


def _right(analysis: AirAnalysis, along: ArrayLike | None) -> FloatArray:
    frame = analysis.columns.frame
    if along is None:
        plan = analysis.columns.plan_mm
        spread = np.linalg.eigh(np.cov(plan.T))[1][:, -1] if len(plan) > 2 else np.array([1.0, 0.0])
        return np.asarray(spread @ frame[:2])
    sight = frame[:2] @ np.asarray(along, dtype=np.float64)
    length = float(np.linalg.norm(sight))
    if not length > 1e-9:
        raise UsageError(
            "The line of sight is upright.", remedy="Give a direction across the pour direction."
        )
    return np.asarray(np.array([-sight[1], sight[0]]) / length @ frame[:2])

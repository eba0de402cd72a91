"""The colours of pictures and sheets: told apart without colour vision and in grey.

Maps run in equal steps of CIE L*a*b* (ISO/CIE 11664-4); materials differ in lightness, so that they stay
apart in grey and under every colour-vision deficiency.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

PAPER: Final = "#fcfaf5"
INK: Final = "#22303a"
FAINT: Final = "#8d959b"
RULE: Final = "#cfcabc"

SCAN: Final = "#d8cdbb"
DONOR: Final = "#17666f"
MIRRORED: Final = "#c98a24"
PART: Final = "#a8492c"
HALF_A: Final = "#7d9cc0"
HALF_B: Final = "#e9d6aa"
CHANNEL: Final = "#2b3a55"
PLANE: Final = "#2d6cb0"
UNKNOWN: Final = "#b9b9b9"

NOTE: Final = "#4d6a80"
CAUTION: Final = "#b36b00"
STOP: Final = "#8a1c1c"
CLEAR: Final = "#1d6b57"

_WHITE: Final = np.array([0.95047, 1.0, 1.08883])  # D65, CIE 1931 observer
_RGB_TO_XYZ: Final = np.array(  # IEC 61966-2-1
    [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]]
)
_KAPPA: Final = 24389 / 27
_EPSILON: Final = 216 / 24389


def rgb(color: str) -> FloatArray:
    """Return red, green and blue from 0 to 1 of a ``#rrggbb`` colour.

    Examples
    --------
    >>> rgb("#ff0000").tolist()
    [1.0, 0.0, 0.0]
    """
    return np.array([int(color[i : i + 2], 16) / 255 for i in (1, 3, 5)])


def lab_from_rgb(colors: ArrayLike) -> FloatArray:
    """Return CIE L*a*b* (D65) of sRGB colours from 0 to 1, shape (..., 3).

    Examples
    --------
    >>> lab_from_rgb([1.0, 1.0, 1.0]).round(2).tolist()[0]
    100.0
    """
    encoded = np.asarray(colors, dtype=np.float64)
    linear = np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)
    ratio = linear @ _RGB_TO_XYZ.T / _WHITE
    f = np.where(ratio > _EPSILON, np.cbrt(ratio), (_KAPPA * ratio + 16) / 116)
    return np.stack(
        [116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], axis=-1
    )


def rgb_from_lab(lab: ArrayLike) -> FloatArray:
    """Return sRGB colours of CIE L*a*b* values, not clipped: outside 0 to 1 there is no such colour."""
    values = np.asarray(lab, dtype=np.float64)
    fy = (values[..., 0] + 16) / 116
    f = np.stack([fy + values[..., 1] / 500, fy, fy - values[..., 2] / 200], axis=-1)
    ratio = np.where(f**3 > _EPSILON, f**3, (116 * f - 16) / _KAPPA)
    linear = (ratio * _WHITE) @ np.linalg.inv(_RGB_TO_XYZ).T
    curved = 1.055 * np.cbrt(np.maximum(linear, 0)) ** (3 / 2.4) - 0.055
    return np.asarray(np.where(linear <= 0.0031308, 12.92 * linear, curved))


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class ColorMap:
    """A table of 256 colours in equal perceptual steps.

    Attributes
    ----------
    name : str
        What it shows.
    table : (256, 3) float64
        sRGB from 0 to 1.
    diverging : bool
        True when the middle stands for zero.
    """

    name: str
    table: FloatArray
    diverging: bool

    def colors(self, values: ArrayLike, low: float, high: float) -> NDArray[np.uint8]:
        """Return (n, 3) colours of values on a range; values beyond it take the end colour.

        Values that are not numbers take the colour of the unknown.
        """
        numbers = np.asarray(values, dtype=np.float64)
        known = np.isfinite(numbers)
        share = (np.where(known, numbers, low) - low) / (high - low)
        index = np.clip(np.round(share * 255), 0, 255).astype(np.int64)
        found = np.where(known[:, None], self.table[index], rgb(UNKNOWN))
        return np.round(found * 255).astype(np.uint8)


def _path(points: ArrayLike, count: int = 256) -> FloatArray:
    """Return colours along a polyline in L*a*b*, at equal distances."""
    corners = np.asarray(points, dtype=np.float64)
    reach = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(corners, axis=0), axis=1))])
    places = np.linspace(0, reach[-1], count)
    lab = np.stack([np.interp(places, reach, corners[:, axis]) for axis in range(3)], axis=1)
    return np.clip(rgb_from_lab(lab), 0.0, 1.0)


_COLD, _MIDDLE, _WARM = (27.0, 8.0, -42.0), (95.0, 0.0, 4.0), (48.0, 40.0, 55.0)

SIGNED: Final = ColorMap(
    name="signed",
    table=np.concatenate([_path([_COLD, _MIDDLE], 128), _path([_MIDDLE, _WARM], 128)]),
    diverging=True,
)
"""Below zero blue and dark, above zero orange and lighter: the sign stays legible in grey."""

DEPTH: Final = ColorMap(
    name="depth",
    table=_path([(92, 1, 10), (78, -12, 12), (58, -28, -2), (38, -18, -22), (18, 6, -28)]),
    diverging=False,
)
"""From bone through green and blue to ink; darker is deeper."""


def rounded_range(values: ArrayLike, *, share: float = 0.98) -> float:
    """Return a round number (1, 1.5, 2, 2.5, 3, 4, 5, 6, 8 × 10ⁿ) that covers `share` of the magnitudes.

    Examples
    --------
    >>> rounded_range([-0.9, 0.1, 1.7], share=1.0)
    2.0
    """
    magnitudes = np.abs(np.asarray(values, dtype=np.float64))
    magnitudes = magnitudes[np.isfinite(magnitudes)]
    reach = float(np.quantile(magnitudes, share)) if len(magnitudes) else 0.0
    if reach <= 0.0:
        return 1.0
    power = 10.0 ** np.floor(np.log10(reach))
    steps = (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)
    return float(next(step * power for step in steps if step * power >= reach * (1 - 1e-9)))

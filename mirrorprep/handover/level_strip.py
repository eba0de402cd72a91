"""The filling cavity in a strip of pictures: the level at several shares, air that stays marked."""

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mirrorprep.geometry.air_pockets import FRACTIONS, AirAnalysis, LevelState, level_states
from mirrorprep.geometry.level_view import LevelView, level_view
from mirrorprep.handover.keys import LEGEND_FOOT, disc, legend
from mirrorprep.handover.palette import DONOR, FAINT, PAPER, RULE, STOP, UNKNOWN, rgb
from mirrorprep.handover.sheet import FOOT, GAP, SMALL, TEXT, TITLE, Sheet, round_length

FloatArray = NDArray[np.float64]

_PANEL: Final = 300
_TOP: Final = TITLE + 40
_DISC_PX: Final = 32.0
_HATCH_PX: Final = 9
_LEAST_SEALED_MM3: Final = 5.0


def picture_level_strip(
    analysis: AirAnalysis, *, fractions: Sequence[float] = FRACTIONS, along: ArrayLike | None = None
) -> bytes:
    """Draw the cavity from the side while it fills.

    Parameters
    ----------
    analysis : AirAnalysis
        From `mirrorprep.geometry.air_pockets.trapped_air`, or the ``air`` of a pour plan.
    fractions : sequence of float
        Shares of the final liquid, one picture each.
    along : (3,) array_like, optional
        Line of sight; by default the one that shows the cavity at its widest.

    Returns
    -------
    bytes
        A PNG file.

    Notes
    -----
    The deeper the liquid along the line of sight, the darker. Sealed air is hatched, so that it is told
    apart without colour; its summits are numbered by volume.
    """
    states = level_states(analysis, fractions)
    views = [level_view(analysis, state.level_mm, along=along, pixels=_PANEL) for state in states]
    scale = min(_PANEL / views[0].liquid_mm.shape[1], _PANEL / views[0].liquid_mm.shape[0])
    width, height = (max(1, int(side * scale)) for side in reversed(views[0].liquid_mm.shape))
    sheet = Sheet((width + GAP) * len(views) + GAP, _TOP + height + FOOT + LEGEND_FOOT + GAP)
    for number, (state, view) in enumerate(zip(states, views, strict=True)):
        left = GAP + number * (width + GAP)
        sheet.image(_tinted(view, (height, width)), left, _TOP)
        sheet.box(left - 0.5, _TOP - 0.5, width, height, edgecolor=RULE)
        sheet.text(left, TITLE / 2, f"{100 * state.fraction:.0f} %", weight="bold", size=TEXT)
        _level_line(sheet, view, state, (left, _TOP, width, height))
        _marks(sheet, analysis, view, state, (left, _TOP, width, height))
        sheet.text(left, _TOP + height + 24, _words(state), size=SMALL, color=FAINT)
    _scale(sheet, views[0].pixel_mm / scale, _TOP + height + 52)
    legend(sheet, [(DONOR, "liquid"), (UNKNOWN, "air that can leave"), (f"{STOP}/", "air that stays")])
    return sheet.png()


def _words(state: LevelState) -> str:
    if state.sealed_air_mm3 < _LEAST_SEALED_MM3:
        return "no air shut in"
    return f"{state.sealed_air_mm3:.0f} mm³ shut in"


def _tinted(view: LevelView, shape: tuple[int, int]) -> NDArray[np.uint8]:
    """Return the view as an image, the lowest row last, deeper is darker."""
    rows = np.arange(shape[0])[::-1] * view.liquid_mm.shape[0] // shape[0]
    columns = np.arange(shape[1]) * view.liquid_mm.shape[1] // shape[1]
    layers = [
        image[np.ix_(rows, columns)] for image in (view.liquid_mm, view.open_air_mm, view.sealed_air_mm)
    ]
    total = np.sum(layers, axis=0)
    deep = float(np.percentile(total[total > 0.0], 90.0)) if np.any(total > 0.0) else 1.0
    picture = np.broadcast_to(rgb(PAPER), (*shape, 3)).copy()
    for depth, color, strength in zip(layers, (DONOR, UNKNOWN, STOP), (2.2, 1.2, 6.0), strict=True):
        cover = (1.0 - np.exp(-strength * np.clip(depth, 0.0, None) / deep))[..., None]
        picture = picture * (1.0 - cover) + rgb(color) * cover
    stripe = np.add.outer(np.arange(shape[0]), np.arange(shape[1])) % _HATCH_PX < _HATCH_PX // 3
    picture[stripe & (layers[2] > 0.02 * deep)] = rgb(PAPER)
    return np.asarray(np.round(255.0 * picture), dtype=np.uint8)


def _place(
    view: LevelView, point: FloatArray, up: FloatArray, box: tuple[int, int, int, int]
) -> tuple[float, float]:
    left, top, width, height = box
    rows, columns = view.liquid_mm.shape
    x = (float(point @ view.right) - view.left_mm) / view.pixel_mm * width / columns
    y = (float(point @ up) - view.bottom_mm) / view.pixel_mm * height / rows
    return left + x, top + height - y


def _level_line(sheet: Sheet, view: LevelView, state: LevelState, box: tuple[int, int, int, int]) -> None:
    left, top, width, height = box
    y = top + height - (state.level_mm - view.bottom_mm) / view.pixel_mm * height / view.liquid_mm.shape[0]
    sheet.line([left, left + width], [y, y], color=FAINT, width=1.2, linestyle=(0, (6, 4)))


def _marks(
    sheet: Sheet, analysis: AirAnalysis, view: LevelView, state: LevelState, box: tuple[int, int, int, int]
) -> None:
    up = analysis.columns.frame[2]
    pockets = [p for p in analysis.unvented if p.volume_mm3 >= _LEAST_SEALED_MM3]
    taken: list[float] = []
    for number, pocket in enumerate(pockets, start=1):
        if pocket.summit_mm not in state.sealed:
            continue
        x, y = _place(view, np.asarray(pocket.summit_mm), up, box)
        free = [x + side * step for step in np.arange(0.0, box[2], 4.0) for side in (1.0, -1.0)]
        at = next((spot for spot in free if all(abs(spot - t) >= _DISC_PX for t in taken)), x)
        taken.append(at)
        sheet.line([at, x], [box[1] - 20.0, y], color=STOP, width=1.4)
        disc(sheet, at, box[1] - 20.0, words=str(number), color=STOP)


def _scale(sheet: Sheet, mm_per_px: float, y: float) -> None:
    length_mm = round_length(0.6 * _PANEL * mm_per_px)
    length_px = length_mm / mm_per_px
    sheet.line([GAP, GAP + length_px], [y, y], width=5)
    for x in (GAP, GAP + length_px):
        sheet.line([x, x], [y - 9, y + 9], width=2)
    sheet.text(GAP + length_px + 14, y, f"{length_mm:g} mm", size=SMALL)

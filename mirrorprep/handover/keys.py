"""Keys to a picture: legend, colour bar with its histogram, numbered marks."""

from collections.abc import Sequence
from itertools import pairwise
from typing import Any, Final

import numpy as np
from matplotlib.ticker import MaxNLocator
from numpy.typing import ArrayLike, NDArray

from mirrorprep.geometry.normals import doubled_areas
from mirrorprep.handover.bodies import surface
from mirrorprep.handover.palette import FAINT, INK, PAPER, ColorMap, rgb
from mirrorprep.handover.retouch import CONTOURS
from mirrorprep.handover.sheet import GAP, SMALL, TEXT, PlacedPanel, Sheet
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.solid import Solid

FloatArray = NDArray[np.float64]

BAR_FOOT: Final = 132
LEGEND_FOOT: Final = 62

_SWATCH: Final = 26


def legend(sheet: Sheet, entries: Sequence[tuple[str, str]], *, y: float | None = None) -> None:
    r"""Write (colour, words) pairs in a row at the foot.

    ``#rrggbb`` draws a swatch, ``#rrggbb/`` and ``#rrggbb\`` a hatched one, ``-#rrggbb`` a line.
    """
    x = float(GAP)
    middle = sheet.height - LEGEND_FOOT / 2 if y is None else y
    for color, words in entries:
        if color.startswith("-"):
            sheet.line([x, x + _SWATCH], [middle, middle], color=color[1:], width=4)
        else:
            look = {"facecolor": color[:7], "hatch": 4 * color[7:] or None, "linewidth": 0.8}
            sheet.box(x, middle - _SWATCH / 2, _SWATCH, _SWATCH, **look)
        x += _SWATCH + 12
        x += sheet.text(x, middle, words, size=SMALL) + 36


def color_bar(
    sheet: Sheet,
    color_map: ColorMap,
    values: ArrayLike,
    *,
    span: tuple[float, float],
    label: str,
    mesh: ScanMesh | Solid,
    unit: str = "mm",
) -> None:
    """Draw a colour bar with the shares of the surface above it, at the foot of the sheet.

    Values belong to the vertices or the faces of `mesh`. Those beyond the range are counted into the end
    bins, and the end labels then say ≤ or ≥.
    """
    numbers = np.asarray(values, dtype=np.float64)
    top = sheet.height - BAR_FOOT
    left, bar_y, bar_height = GAP + 430, top + 66, 22
    width = sheet.width - 2 * GAP - 430 - 60
    table = np.round(color_map.table * 255).astype(np.uint8)[None, :, :]
    bar = table[:, np.linspace(0, 255, width).astype(int)].repeat(bar_height, axis=0)
    sheet.image(bar, left, bar_y)
    sheet.box(left - 0.5, bar_y - 0.5, width, bar_height, linewidth=0.8)
    for band in range(1, CONTOURS // 2) if color_map.diverging else ():
        x = left + width * band / CONTOURS
        sheet.line([x, x], [bar_y, bar_y + bar_height], width=1.2, alpha=0.5)
    areas = _areas(surface(mesh), len(numbers))
    known = np.isfinite(numbers)
    counted = known if color_map.diverging else known & (numbers > span[0])
    _histogram(sheet, numbers[counted], areas[counted], span, place=(left, bar_y - 4, width, 48))
    for tick in _ticks(span):
        x = left + (tick - span[0]) / (span[1] - span[0]) * (width - 1)
        sheet.line([x, x], [bar_y + bar_height, bar_y + bar_height + 7], width=1.5)
        words = _tick_words(float(tick), span, numbers[known], signed=color_map.diverging)
        sheet.text(x, bar_y + bar_height + 22, words, size=SMALL, ha="center")
    sheet.text(GAP, bar_y - 14, label, size=TEXT, weight="bold")
    shares = (float(areas[~known].sum() / areas.sum()), float(areas[counted].sum() / areas.sum()))
    sheet.text(GAP, bar_y + 18, f"in {unit}; {_share_words(*shares)}", size=SMALL, color=FAINT)


def _share_words(unknown: float, counted: float) -> str:
    if unknown > 0:
        return f"grey: no value ({unknown:.0%})"
    return "bars: share of the area" if counted == 1.0 else f"{counted:.0%} of the area"


def _ticks(span: tuple[float, float]) -> FloatArray:
    locator = MaxNLocator(nbins=6, steps=[1, 2, 2.5, 5, 10], symmetric=span[0] < 0)
    ticks = np.asarray(locator.tick_values(*span), dtype=np.float64)
    inside = ticks[(ticks > span[0]) & (ticks < span[1])]
    room = 0.08 * (span[1] - span[0])
    kept = inside[(inside - span[0] > room) & (span[1] - inside > room)]
    return np.asarray([span[0], *kept, span[1]])


def _areas(mesh: ScanMesh, count: int) -> FloatArray:
    """Return the area that belongs to each face, or to each vertex where `count` fits those."""
    areas = np.linalg.norm(doubled_areas(mesh.vertices, mesh.faces), axis=1) + 1e-300
    if count == len(mesh.faces):
        return np.asarray(areas)
    weights = np.repeat(areas, 3)
    return np.bincount(mesh.faces.ravel(), weights=weights, minlength=len(mesh.vertices)).astype(np.float64)


def _histogram(
    sheet: Sheet,
    numbers: FloatArray,
    areas: FloatArray,
    span: tuple[float, float],
    *,
    place: tuple[float, float, float, float],
) -> None:
    left, base, width, height = place
    counts, _ = np.histogram(np.clip(numbers, *span), bins=60, range=span, weights=areas)
    if counts.max() <= 0:
        return
    step = width / len(counts)
    for number, count in enumerate(counts / counts.max()):
        sheet.box(
            left + number * step, base - count * height, step, count * height, facecolor=FAINT, linewidth=0
        )


def _tick_words(tick: float, span: tuple[float, float], numbers: FloatArray, *, signed: bool) -> str:
    words = f"{tick:+g}".replace("-", "−") if signed and tick else f"{tick:g}"
    if tick == span[0] and len(numbers) and numbers.min() < span[0]:
        return f"≤ {words}"
    if tick == span[1] and len(numbers) and numbers.max() > span[1]:
        return f"≥ {words}"
    return words


def draw_path(sheet: Sheet, panel: PlacedPanel, points_mm: ArrayLike, **style: Any) -> None:  # noqa: ANN401
    """Draw a polyline in space: full where it is seen, faint dots where something hides it."""
    corners = np.asarray(points_mm, dtype=np.float64)
    share = np.linspace(0, 1, 120, endpoint=False)[:, None]
    runs = [start + share * (stop - start) for start, stop in pairwise(corners)]
    points = np.concatenate([*runs, corners[-1:]])
    seen, placed = panel.visible(points), panel.place(points)
    for shown, look in ((seen, {}), (~seen, {"linestyle": (0, (1, 3)), "alpha": 0.45})):
        path = np.where(shown[:, None], placed, np.nan)
        sheet.line(path[:, 0].tolist(), path[:, 1].tolist(), **{**style, **look})


def mark(sheet: Sheet, panel: PlacedPanel, points_mm: ArrayLike, *, words: str, color: str) -> None:
    """Mark places on a panel with dots and the first that is seen with a numbered disc.

    Places that something hides get hollow dots.
    """
    points = np.asarray(points_mm, dtype=np.float64).reshape(-1, 3)
    if len(points) == 0:
        return
    placed, seen = panel.place(points), panel.visible(points)
    for (x, y), shown in zip(placed, seen, strict=True):
        face = color if shown else PAPER
        sheet.axes.plot(x, y, "o", ms=6, mfc=face, mec=color, mew=1.4, zorder=7, alpha=1 if shown else 0.6)
    first = int(np.flatnonzero(seen)[0]) if seen.any() else 0
    x, y = placed[first]
    toward_middle = np.sign([panel.left + panel.width / 2 - x, panel.top + panel.height / 2 - y])
    offset_x, offset_y = x - 34 * (toward_middle[0] or 1), y - 34 * (toward_middle[1] or 1)
    sheet.line([x, offset_x], [y, offset_y], color=color, width=1.8, zorder=7)
    disc(sheet, offset_x, offset_y, words=words, color=color)


def disc(sheet: Sheet, x: float, y: float, *, words: str, color: str) -> None:
    """Draw a numbered disc; light figures on dark colours and dark ones on light."""
    sheet.axes.plot(x, y, "o", ms=22, mfc=color, mec=INK, mew=1.0, zorder=8)
    light = float(rgb(color) @ [0.21, 0.72, 0.07]) < 0.45
    sheet.text(x, y + 1, words, size=19, ha="center", weight="bold", color=PAPER if light else INK, zorder=9)

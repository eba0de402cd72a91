"""The landscape of pull directions: both half-spheres as discs of equal area, to be read and overruled."""

from collections.abc import Sequence
from typing import Any, Final

import numpy as np
from matplotlib.colors import ListedColormap, PowerNorm
from matplotlib.patches import Circle
from matplotlib.tri import Triangulation
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import ConvexHull

from mirrorprep.errors import UsageError
from mirrorprep.handover.keys import disc
from mirrorprep.handover.palette import CAUTION, DEPTH, FAINT, INK, PAPER, STOP
from mirrorprep.handover.sheet import GAP, SMALL, TEXT, Sheet

FloatArray = NDArray[np.float64]

_RADIUS: Final = 330
_TOP: Final = 104
_RIM: Final = 66
_FOOT: Final = 132
_ROW: Final = 34
_LEAST_DIRECTIONS: Final = 12
_BANDS: Final = 24
_MOST_LINES: Final = 6

Marked = tuple[ArrayLike, float]
"""A direction with its value."""


def picture_landscape(
    directions: ArrayLike,
    values: ArrayLike,
    *,
    label: str = "value",
    unit: str = "",
    marks: Sequence[Marked] = (),
) -> bytes:
    """Draw a quantity over all pull directions, so that another than the one taken can be read off.

    Parameters
    ----------
    directions : (n, 3) array
        Unit vectors spread over the whole sphere, at least twelve.
    values : (n,) array
        The quantity, such as the trapped volume; NaN is drawn as paper.
    label, unit : str
        What the values are.
    marks : sequence of (direction, value)
        Directions to number and to list with their values; the first is the one taken.

    Returns
    -------
    bytes
        A PNG file.

    Raises
    ------
    UsageError
        If there are too few directions or their number is not that of the values.

    Notes
    -----
    Lambert azimuthal equal-area projection about +z and −z: areas on the disc are true to the shares of
    the sphere. x points to the right in both discs, so that the right one is the left one seen from
    below. Rings tell the tilt from the z axis and the rim tells the turn about it, from x toward y. Lighter
    is less; colours follow the square root above the least value, because the choice is made near it.
    """
    points = np.asarray(directions, dtype=np.float64)
    numbers = np.asarray(values, dtype=np.float64)
    if len(points) < _LEAST_DIRECTIONS or len(points) != len(numbers):
        raise UsageError(
            f"{len(points)} directions with {len(numbers)} values give no landscape.",
            remedy=f"Give at least {_LEAST_DIRECTIONS} directions, each with a value.",
        )
    points = points / np.linalg.norm(points, axis=1, keepdims=True)
    foot = _FOOT + _ROW * (len(marks) + 1) * bool(marks)
    sheet = Sheet(4 * _RADIUS + 7 * GAP + 3 * _RIM, _TOP + 2 * _RADIUS + _RIM + foot)
    known = numbers[np.isfinite(numbers)]
    span = (float(known.min()), float(known.max())) if len(known) else (0.0, 1.0)
    placed = [direction for direction, _ in marks]
    for side, left in ((1.0, 2 * GAP + _RIM), (-1.0, 2 * _RADIUS + 5 * GAP + 2 * _RIM)):
        center = (left + _RADIUS, _TOP + _RADIUS)
        _half(sheet, points, numbers, span, center, side)
        _angles(sheet, center, side)
        _marks(sheet, placed, center, side)
    _bar(sheet, span, label, unit)
    _table(sheet, marks, unit)
    return sheet.png()


def equal_area(directions: ArrayLike, side: float) -> FloatArray:
    """Return places in the unit disc of (n, 3) unit vectors of the half-sphere around ``side`` · z.

    Examples
    --------
    >>> equal_area([[0, 0, 1], [1, 0, 0]], 1.0).tolist()
    [[0.0, 0.0], [1.0, 0.0]]
    """
    points = np.asarray(directions, dtype=np.float64)
    stretch = np.sqrt(1.0 / (1.0 + np.clip(side * points[:, 2], -0.999999, 1.0)))
    return np.asarray(points[:, :2] * stretch[:, None] * [1.0, side])


def _half(
    sheet: Sheet,
    points: FloatArray,
    numbers: FloatArray,
    span: tuple[float, float],
    center: tuple[float, float],
    side: float,
) -> None:
    x0, y0 = center
    rim = Circle(center, _RADIUS, facecolor=PAPER, edgecolor=INK, linewidth=1.4, zorder=4, fill=False)
    sheet.axes.add_patch(rim)
    faces = ConvexHull(points).simplices
    near = (side * points[faces][:, :, 2] > -0.5).all(axis=1) & np.isfinite(numbers[faces]).all(axis=1)
    placed = equal_area(points, side)
    if near.any():
        net = Triangulation(x0 + _RADIUS * placed[:, 0], y0 - _RADIUS * placed[:, 1], faces[near])
        filled = np.nan_to_num(numbers, nan=span[0])
        style: dict[str, Any] = {"levels": _levels(span), "norm": _norm(span), "cmap": _color_map()}
        _clip(sheet.axes.tricontourf(net, filled, zorder=2, **style), rim)
        lines = round_values(span)
        if len(lines):
            drawn = sheet.axes.tricontour(
                net, filled, levels=lines, colors=INK, linewidths=0.8, linestyles="solid", zorder=3
            )
            _clip(drawn, rim)
            _line_labels(sheet, drawn, center)


def _levels(span: tuple[float, float]) -> FloatArray:
    """Return the limits of the coloured bands, narrow near the least value."""
    step = span[1] - span[0] + 1e-12 * max(abs(span[1]), 1.0) + 1e-300
    return np.asarray(span[0] + step * np.linspace(0.0, 1.0, _BANDS + 1) ** 2)


def _norm(span: tuple[float, float]) -> PowerNorm:
    return PowerNorm(0.5, vmin=span[0], vmax=float(_levels(span)[-1]))


def round_values(span: tuple[float, float]) -> FloatArray:
    """Return up to six values 1, 2, 5 × 10ⁿ within a range, those nearest its lower end.

    Examples
    --------
    >>> round_values((1.25, 54.1)).tolist()
    [2.0, 5.0, 10.0, 20.0, 50.0]
    """
    if not span[1] > span[0]:
        return np.zeros(0)
    top = np.floor(np.log10(max(abs(span[0]), abs(span[1]))))
    rungs = np.array([m * 10.0 ** (top - 4 + n) for n in range(6) for m in (1, 2, 5)])
    step = span[1] - span[0]
    inside = rungs[(rungs > span[0] + 0.008 * step) & (rungs < span[1] - 0.02 * step)]
    return np.asarray(np.round(inside[:_MOST_LINES], 12))


def _line_labels(sheet: Sheet, drawn: Any, center: tuple[float, float]) -> None:  # noqa: ANN401
    """Write the value of a line where its longest run inside the disc comes lowest."""
    for level, runs in zip(drawn.levels, drawn.allsegs, strict=True):
        inside = [run[np.linalg.norm(run - center, axis=1) < 0.93 * _RADIUS] for run in runs]
        longest = max(inside, key=len, default=np.zeros((0, 2)))
        if len(longest) >= 8:
            x, y = longest[int(np.argmax(longest[:, 1]))]
            sheet.text(x, y, f"{level:g}", size=17, ha="center", zorder=6, bbox=_LABEL)


_LABEL: Final = {"boxstyle": "round,pad=0.12", "facecolor": PAPER, "edgecolor": "none", "alpha": 0.85}


def _angles(sheet: Sheet, center: tuple[float, float], side: float) -> None:
    """Draw rings of equal tilt from the z axis and the turn about it at the rim."""
    x0, y0 = center
    faint = {"color": FAINT, "size": SMALL - 2}
    for tilt in (30, 60):
        reach = _RADIUS * np.sqrt(2) * np.sin(np.radians(tilt) / 2)
        style: dict[str, Any] = {"linewidth": 0.7, "linestyle": (0, (4, 4)), "zorder": 4}
        sheet.axes.add_patch(Circle(center, reach, fill=False, edgecolor=INK, alpha=0.5, **style))
        sheet.text(x0 + 4, y0 - reach - 12, f"{tilt}°", size=17, color=INK, alpha=0.75)
    for turn in range(0, 360, 30):
        along = np.array([np.cos(np.radians(turn)), -side * np.sin(np.radians(turn))])
        start, stop = np.array(center) + 0.16 * _RADIUS * along, np.array(center) + _RADIUS * along
        sheet.line(
            [start[0], stop[0]], [start[1], stop[1]], width=0.8, alpha=0.22, linestyle=(0, (2, 5)), zorder=4
        )
        x, y = np.array(center) + (_RADIUS + 30) * along
        name = {0: "+x", 90: "+y", 180: "−x", 270: "−y"}.get(turn)
        sheet.text(x, y, name or f"{turn}°", ha="center", weight="bold" if name else "normal", **faint)
    sheet.text(
        x0 - _RADIUS - _RIM,
        24,
        f"pull directions around {'+z' if side > 0 else '−z, seen from below'}",
        weight="bold",
    )


def _clip(drawn: Any, rim: Circle) -> None:  # noqa: ANN401 - matplotlib's contour set
    drawn.set_clip_path(rim)


def _color_map() -> ListedColormap:
    return ListedColormap(DEPTH.table)


def _marks(sheet: Sheet, marks: Sequence[ArrayLike], center: tuple[float, float], side: float) -> None:
    for number, direction in enumerate(marks, start=1):
        vector = np.asarray(direction, dtype=np.float64).reshape(1, 3)
        vector = vector / np.linalg.norm(vector)
        if side * vector[0, 2] < -1e-9:
            continue
        x, y = equal_area(vector, side)[0]
        color = STOP if number == 1 else CAUTION
        disc(sheet, center[0] + _RADIUS * x, center[1] - _RADIUS * y, words=str(number), color=color)


def _bar(sheet: Sheet, span: tuple[float, float], label: str, unit: str) -> None:
    top = _TOP + 2 * _RADIUS + _RIM + 46
    left, width = GAP + 430, sheet.width - 2 * GAP - 490
    table = np.round(DEPTH.table * 255).astype(np.uint8)[None, :, :]
    bar = table[:, np.linspace(0, 255, width).astype(int)].repeat(24, axis=0)
    sheet.image(bar, left, top)
    sheet.box(left - 0.5, top - 0.5, width, 24, linewidth=0.8)
    last = -1.0
    for tick in sorted({*span, *round_values(span).tolist()}):
        share = float(_norm(span)(tick)) if span[1] > span[0] else 0.5
        if share - last > 0.06 and (tick == span[1] or 1.0 - share > 0.06):
            sheet.text(left + share * width, top + 46, f"{tick:.3g} {unit}".strip(), size=SMALL, ha="center")
            last = share
    sheet.text(GAP, top - 4, label, size=TEXT, weight="bold")
    sheet.text(GAP, top + 28, "rings: tilt from z; rim: turn about z", size=SMALL, color=FAINT)


def _table(sheet: Sheet, marks: Sequence[Marked], unit: str) -> None:
    """List the marked directions as they are typed, with what they cost."""
    top = _TOP + 2 * _RADIUS + _RIM + _FOOT + 6
    for number, (direction, value) in enumerate(marks, start=1):
        y = top + _ROW * (number - 1)
        disc(sheet, GAP + 14, y, words=str(number), color=STOP if number == 1 else CAUTION)
        vector = np.asarray(direction, dtype=np.float64)
        x, up, z = vector / np.linalg.norm(vector) + 0.0
        turn, tilt = np.degrees(np.arctan2(up, x)) % 360.0, np.degrees(np.arccos(np.clip(z, -1.0, 1.0)))
        words = f"{x:.3f}, {up:.3f}, {z:.3f}"
        sheet.text(GAP + 48, y, words, size=SMALL, weight="bold" if number == 1 else "normal")
        sheet.text(GAP + 330, y, f"tilt {tilt:.0f}°, turn {turn:.0f}°", size=SMALL)
        sheet.text(GAP + 600, y, f"{value:.3g} {unit}".strip(), size=SMALL)
        sheet.text(GAP + 740, y, "taken" if number == 1 else "", size=SMALL)
    if marks:
        words = "State another pull direction as x, y, z; it and its opposite are the same pull."
        sheet.text(GAP, top + _ROW * len(marks), words, size=SMALL, color=FAINT)

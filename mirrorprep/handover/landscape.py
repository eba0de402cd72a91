"""The landscape of pull directions: both half-spheres of directions as discs of equal area."""

from collections.abc import Sequence
from typing import Any, Final

import numpy as np
from matplotlib.colors import ListedColormap
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
_TOP: Final = 64
_FOOT: Final = 132
_LEAST_DIRECTIONS: Final = 12


def picture_landscape(
    directions: ArrayLike,
    values: ArrayLike,
    *,
    label: str = "value",
    unit: str = "",
    chosen: ArrayLike | None = None,
    others: Sequence[ArrayLike] = (),
) -> bytes:
    """Draw a quantity over all pull directions; lighter is less.

    Parameters
    ----------
    directions : (n, 3) array
        Unit vectors spread over the whole sphere, at least twelve.
    values : (n,) array
        The quantity, such as the trapped volume; NaN is drawn as paper.
    label, unit : str
        What the values are.
    chosen : (3,) array, optional
        The direction taken, marked 1.
    others : sequence of (3,) arrays
        Runners-up, marked 2, 3, ...

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
    below.
    """
    points = np.asarray(directions, dtype=np.float64)
    numbers = np.asarray(values, dtype=np.float64)
    if len(points) < _LEAST_DIRECTIONS or len(points) != len(numbers):
        raise UsageError(
            f"{len(points)} directions with {len(numbers)} values give no landscape.",
            remedy=f"Give at least {_LEAST_DIRECTIONS} directions, each with a value.",
        )
    points = points / np.linalg.norm(points, axis=1, keepdims=True)
    sheet = Sheet(4 * _RADIUS + 7 * GAP, _TOP + 2 * _RADIUS + 60 + _FOOT)
    known = numbers[np.isfinite(numbers)]
    span = (float(known.min()), float(known.max())) if len(known) else (0.0, 1.0)
    marks = ([] if chosen is None else [chosen]) + list(others)
    for side, left in ((1.0, 2 * GAP), (-1.0, 2 * _RADIUS + 5 * GAP)):
        _half(sheet, points, numbers, span, (left + _RADIUS, _TOP + _RADIUS), side)
        _marks(sheet, marks, (left + _RADIUS, _TOP + _RADIUS), side)
    _bar(sheet, span, label, unit)
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
        levels = np.linspace(span[0], span[1] + 1e-12 * max(abs(span[1]), 1.0) + 1e-300, 25)
        _clip(sheet.axes.tricontourf(net, filled, levels=levels, cmap=_color_map(), zorder=2), rim)
        _clip(
            sheet.axes.tricontour(net, filled, levels=levels[4:-1:4], colors=INK, linewidths=0.5, zorder=3),
            rim,
        )
    for share in (30, 60):
        reach = _RADIUS * np.sqrt(2) * np.sin(np.radians(share) / 2)
        ring = Circle(
            center, reach, fill=False, edgecolor=FAINT, linewidth=0.7, linestyle=(0, (4, 4)), zorder=4
        )
        sheet.axes.add_patch(ring)
    name = "+z" if side > 0 else "−z"
    sheet.text(x0 - _RADIUS, _TOP / 2, f"pull directions around {name}", weight="bold")
    sheet.text(x0 + _RADIUS + 8, y0, "+x", size=SMALL, color=FAINT)
    sheet.text(x0, y0 + _RADIUS + 22, "−y" if side > 0 else "+y", size=SMALL, color=FAINT, ha="center")


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
    left, top, width = GAP + 430, sheet.height - _FOOT + 46, sheet.width - 2 * GAP - 490
    table = np.round(DEPTH.table * 255).astype(np.uint8)[None, :, :]
    bar = table[:, np.linspace(0, 255, width).astype(int)].repeat(24, axis=0)
    sheet.image(bar, left, top)
    sheet.box(left - 0.5, top - 0.5, width, 24, linewidth=0.8)
    for share, ha in ((0.0, "left"), (0.5, "center"), (1.0, "right")):
        tick = round(span[0] + share * (span[1] - span[0]), 9)
        sheet.text(left + share * width, top + 46, f"{tick:.3g} {unit}".strip(), size=SMALL, ha=ha)
    sheet.text(GAP, top - 4, label, size=TEXT, weight="bold")
    sheet.text(GAP, top + 28, "dashed rings: 30° and 60°; 1: taken", size=SMALL, color=FAINT)

"""One picture: panels side by side on paper with their titles, scale bar, axes, legend and colour bar.

Everything is placed in pixels from the upper left corner of the sheet.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import FancyArrowPatch, Rectangle
from numpy.typing import ArrayLike, NDArray

from mirrorprep.handover.encoding import png_file
from mirrorprep.handover.palette import FAINT, INK, PAPER, RULE, rgb
from mirrorprep.handover.panel import MARGIN, Body, Shot, View, draw, fitting_scale
from mirrorprep.handover.retouch import OVERSAMPLING, retouched

FloatArray = NDArray[np.float64]

_DPI: Final = 100
GAP: Final = 24
TITLE: Final = 58
FOOT: Final = 62
TEXT: Final = 23
SMALL: Final = 20
LEAST_HEIGHT: Final = 240


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class PanelSpec:
    """What one panel shows: bodies, the eye, a title, and how strongly hollows are darkened."""

    bodies: Sequence[Body]
    view: View
    title: str = ""
    hollows: float = 0.45


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class PlacedPanel:
    """A drawn panel and where its upper left corner lies on the sheet."""

    shot: Shot
    left: int
    top: int
    width: int
    height: int

    @property
    def mm_per_px(self) -> float:
        """Size of a pixel of the sheet."""
        return self.shot.mm_per_px * OVERSAMPLING

    def place(self, points_mm: ArrayLike) -> FloatArray:
        """Return the places of (n, 3) points on the sheet, shape (n, 2)."""
        inside = (self.shot.place(points_mm)[:, :2] + 0.5) / OVERSAMPLING - 0.5
        return np.asarray(inside + np.array([self.left, self.top]))

    def visible(self, points_mm: ArrayLike) -> NDArray[np.bool_]:
        """Return which points nothing hides, give or take four pixels."""
        return self.shot.visible(points_mm, slack_mm=4 * self.mm_per_px)


@dataclass(frozen=True, slots=True, eq=False)
class Sheet:
    """Paper of a fixed size in pixels, to draw on."""

    width: int
    height: int
    panels: list[PlacedPanel] = field(default_factory=list)
    pixels: NDArray[np.uint8] = field(init=False)
    figure: Any = field(init=False)
    axes: Any = field(init=False)

    def __post_init__(self) -> None:
        paper = np.round(255 * rgb(PAPER)).astype(np.uint8)
        object.__setattr__(self, "pixels", np.tile(paper, (self.height, self.width, 1)))
        figure = Figure(figsize=(self.width / _DPI, self.height / _DPI), dpi=_DPI, facecolor="none")
        FigureCanvasAgg(figure)
        axes = figure.add_axes((0, 0, 1, 1))
        axes.set_xlim(-0.5, self.width - 0.5)
        axes.set_ylim(self.height - 0.5, -0.5)
        axes.axis("off")
        object.__setattr__(self, "figure", figure)
        object.__setattr__(self, "axes", axes)

    def image(self, pixels: NDArray[np.uint8], left: int, top: int) -> None:
        """Lay an image down below everything drawn, pixel for pixel."""
        height, width = pixels.shape[:2]
        self.pixels[top : top + height, left : left + width] = pixels

    def text(self, x: float, y: float, words: str, **style: Any) -> float:  # noqa: ANN401
        """Write words and return their width; `size` in pixels, `ha` and `va` as in matplotlib."""
        size = style.pop("size", TEXT) * 72 / _DPI
        options = {"color": INK, "va": "center", "ha": "left", "zorder": 6, **style}
        written = self.axes.text(x, y, words, fontsize=size, family="DejaVu Sans", **options)
        return float(written.get_window_extent(self.figure.canvas.get_renderer()).width)

    def line(self, xs: Sequence[float], ys: Sequence[float], **style: Any) -> None:  # noqa: ANN401
        """Draw a polyline; `width` in pixels."""
        width = style.pop("width", 2.0) * 72 / _DPI
        options = {"color": INK, "solid_capstyle": "butt", "zorder": 5, **style}
        self.axes.plot(xs, ys, linewidth=width, **options)

    def box(self, left: float, top: float, width: float, height: float, **style: Any) -> None:  # noqa: ANN401
        """Draw a rectangle."""
        options = {"edgecolor": INK, "facecolor": "none", "linewidth": 1.0, "zorder": 5, **style}
        self.axes.add_patch(Rectangle((left, top), width, height, **options))

    def arrow(self, start: Sequence[float], stop: Sequence[float], **style: Any) -> None:  # noqa: ANN401
        """Draw an arrow with a filled head; `head` in pixels."""
        scale = style.pop("head", 14.0)
        options = {"color": INK, "linewidth": 1.6, "zorder": 6, **style}
        shape = {"arrowstyle": "-|>,head_length=0.5,head_width=0.22", "mutation_scale": scale}
        self.axes.add_patch(
            FancyArrowPatch(
                (start[0], start[1]), (stop[0], stop[1]), shrinkA=0, shrinkB=0, **shape, **options
            )
        )

    def png(self) -> bytes:
        """Return the sheet as a PNG file: the same sheet gives the same bytes."""
        self.figure.canvas.draw()
        drawn = np.asarray(self.figure.canvas.buffer_rgba())
        rows, columns = np.nonzero(drawn[:, :, 3])
        ink = drawn[rows, columns].astype(np.float32)
        cover = ink[:, 3:] / 255
        picture = self.pixels.copy()
        picture[rows, columns] = np.rint(cover * ink[:, :3] + (1 - cover) * picture[rows, columns])
        return png_file(picture)


def strip(
    specs: Sequence[PanelSpec],
    *,
    panel_px: tuple[int, int] | Sequence[tuple[int, int]],
    foot_px: int = 0,
    common_scale: bool = True,
) -> Sheet:
    """Draw panels side by side, each with title, scale bar and axes; leave room at the foot.

    Parameters
    ----------
    specs : sequence of PanelSpec
        From left to right.
    panel_px : (int, int) or one per panel
        Largest size of the picture in a panel; what the bodies leave empty above and below is cut.
    foot_px : int
        Height kept free below for a legend or a colour bar.
    common_scale : bool
        Whether all panels have the scale of the smallest; then one scale bar serves them all.
    """
    sizes = [panel_px] * len(specs) if isinstance(panel_px[0], int) else list(panel_px)
    pairs: list[tuple[int, int]] = [(int(size[0]), int(size[1])) for size in sizes]  # type: ignore[index]
    scales = [
        fitting_scale(spec.bodies, spec.view, size) / OVERSAMPLING
        for spec, size in zip(specs, pairs, strict=True)
    ]
    if common_scale:
        scales = [max(scales)] * len(scales)
    tall = max(needed_height(spec, scale * OVERSAMPLING) for spec, scale in zip(specs, scales, strict=True))
    pairs = [(across, max(min(down, tall), LEAST_HEIGHT)) for across, down in pairs]
    width = sum(size[0] for size in pairs) + GAP * (len(specs) + 1)
    height = TITLE + max(size[1] for size in pairs) + FOOT + foot_px
    sheet = Sheet(width, height)
    left = GAP
    for number, (spec, size, scale) in enumerate(zip(specs, pairs, scales, strict=True)):
        _lay_panel(sheet, spec, (left, TITLE, *size), scale)
        if number == 0 or not common_scale:
            scale_bar(sheet, sheet.panels[-1])
        if number == 0 or spec.view != specs[number - 1].view:
            axes_cross(sheet, sheet.panels[-1])
        left += size[0] + GAP
    if foot_px:
        sheet.line([GAP, width - GAP], [height - foot_px] * 2, color=RULE, width=1.5)
    return sheet


def needed_height(spec: PanelSpec, mm_per_px: float) -> int:
    """Return the height in pixels of the bodies at a scale, with their margin."""
    axis = spec.view.axes()[1]
    reaches = [body.vertices @ axis for body in spec.bodies]
    reach = max(float(r.max()) for r in reaches) - min(float(r.min()) for r in reaches)
    return int(np.ceil(reach / mm_per_px / (1 - 2 * MARGIN)))


def _lay_panel(sheet: Sheet, spec: PanelSpec, place: tuple[int, int, int, int], scale: float) -> None:
    left, top, width, height = place
    size_px = (width * OVERSAMPLING, height * OVERSAMPLING)
    shot = draw(spec.bodies, spec.view, size_px=size_px, mm_per_px=scale)
    sheet.image(retouched(shot, hollows=spec.hollows), left, top)
    sheet.panels.append(PlacedPanel(shot=shot, left=left, top=top, width=width, height=height))
    if spec.title:
        sheet.text(left, TITLE / 2 + 2, spec.title, weight="bold")


def round_length(reach_mm: float) -> float:
    """Return the longest of 1, 2, 5 × 10ⁿ mm that is not longer than `reach_mm`.

    Examples
    --------
    >>> round_length(37.0)
    20.0
    """
    power = float(10.0 ** np.floor(np.log10(reach_mm)))
    return max(step * power for step in (1.0, 2.0, 5.0) if step * power <= reach_mm)


def scale_bar(sheet: Sheet, panel: PlacedPanel) -> None:
    """Draw a bar of a round length below a panel; true for lengths across the line of sight."""
    length_mm = round_length(0.3 * panel.width * panel.mm_per_px)
    length_px = length_mm / panel.mm_per_px
    left, y = panel.left + 2, panel.top + panel.height + 30
    sheet.line([left, left + length_px], [y, y], width=5)
    for x in (left, left + length_px):
        sheet.line([x, x], [y - 9, y + 9], width=2)
    sheet.text(left + length_px + 14, y, f"{length_mm:g} mm", size=SMALL)


def axes_cross(sheet: Sheet, panel: PlacedPanel) -> None:
    """Draw the coordinate axes as they lie in the picture, at a panel's lower right corner."""
    axes = panel.shot.view.axes()
    reach, words = 36.0, 13.0
    tips = [(float(axes[0] @ unit), float(axes[1] @ unit), float(axes[2] @ unit)) for unit in np.eye(3)]
    low = max(0.0, *(-up for _, up, _ in tips))
    right_most = max(0.0, *(right for right, _, _ in tips))
    x = panel.left + panel.width - 12 - (reach + words) * right_most
    y = panel.top + panel.height + FOOT - 16 - (reach + words) * low
    for name, (right, up, toward) in zip("xyz", tips, strict=True):
        length = float(np.hypot(right, up))
        if length < 0.2:
            sheet.text(x, y, "⊙" if toward > 0 else "⊗", size=15, ha="center", color=FAINT)
            continue
        sheet.arrow((x, y), (x + reach * right, y - reach * up), color=FAINT, head=10, linewidth=1.2)
        outward = reach + words / length
        style = {"size": 17, "ha": "center", "color": FAINT}
        sheet.text(x + outward * right, y - outward * up, name, **style)

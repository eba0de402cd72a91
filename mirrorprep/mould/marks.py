"""Marks cut into the foot of a mould: half, pull arrow and job code, as shallow dot-matrix text."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from mirrorprep.mould.frame import MouldFrame
from mirrorprep.solid.section import Section, hull_section, level_section, merged, rectangle, shifted
from mirrorprep.solid.solid import Solid

FloatArray = NDArray[np.float64]

DEPTH_MM: Final = 0.6
DOT_MM: Final = 1.0
_OVERLAP_MM: Final = 0.1
_SMALL_DOT_MM: Final = 0.8
_EDGE_MM: Final = 1.5
_SAMPLES: Final = 48
_COLUMNS: Final = 5
_ROWS: Final = 7

_GLYPHS: Final = {
    "A": (0x0E, 0x11, 0x11, 0x1F, 0x11, 0x11, 0x11),
    "B": (0x1E, 0x11, 0x11, 0x1E, 0x11, 0x11, 0x1E),
    "C": (0x0E, 0x11, 0x10, 0x10, 0x10, 0x11, 0x0E),
    "D": (0x1E, 0x11, 0x11, 0x11, 0x11, 0x11, 0x1E),
    "E": (0x1F, 0x10, 0x10, 0x1E, 0x10, 0x10, 0x1F),
    "F": (0x1F, 0x10, 0x10, 0x1E, 0x10, 0x10, 0x10),
    "G": (0x0E, 0x11, 0x10, 0x17, 0x11, 0x11, 0x0F),
    "H": (0x11, 0x11, 0x11, 0x1F, 0x11, 0x11, 0x11),
    "I": (0x0E, 0x04, 0x04, 0x04, 0x04, 0x04, 0x0E),
    "J": (0x07, 0x02, 0x02, 0x02, 0x02, 0x12, 0x0C),
    "K": (0x11, 0x12, 0x14, 0x18, 0x14, 0x12, 0x11),
    "L": (0x10, 0x10, 0x10, 0x10, 0x10, 0x10, 0x1F),
    "M": (0x11, 0x1B, 0x15, 0x15, 0x11, 0x11, 0x11),
    "N": (0x11, 0x19, 0x15, 0x13, 0x11, 0x11, 0x11),
    "O": (0x0E, 0x11, 0x11, 0x11, 0x11, 0x11, 0x0E),
    "P": (0x1E, 0x11, 0x11, 0x1E, 0x10, 0x10, 0x10),
    "Q": (0x0E, 0x11, 0x11, 0x11, 0x15, 0x12, 0x0D),
    "R": (0x1E, 0x11, 0x11, 0x1E, 0x14, 0x12, 0x11),
    "S": (0x0F, 0x10, 0x10, 0x0E, 0x01, 0x01, 0x1E),
    "T": (0x1F, 0x04, 0x04, 0x04, 0x04, 0x04, 0x04),
    "U": (0x11, 0x11, 0x11, 0x11, 0x11, 0x11, 0x0E),
    "V": (0x11, 0x11, 0x11, 0x11, 0x11, 0x0A, 0x04),
    "W": (0x11, 0x11, 0x11, 0x15, 0x15, 0x1B, 0x11),
    "X": (0x11, 0x11, 0x0A, 0x04, 0x0A, 0x11, 0x11),
    "Y": (0x11, 0x11, 0x0A, 0x04, 0x04, 0x04, 0x04),
    "Z": (0x1F, 0x01, 0x02, 0x04, 0x08, 0x10, 0x1F),
    "0": (0x0E, 0x11, 0x13, 0x15, 0x19, 0x11, 0x0E),
    "1": (0x04, 0x0C, 0x04, 0x04, 0x04, 0x04, 0x0E),
    "2": (0x0E, 0x11, 0x01, 0x06, 0x08, 0x10, 0x1F),
    "3": (0x1F, 0x02, 0x04, 0x02, 0x01, 0x11, 0x0E),
    "4": (0x02, 0x06, 0x0A, 0x12, 0x1F, 0x02, 0x02),
    "5": (0x1F, 0x10, 0x1E, 0x01, 0x01, 0x11, 0x0E),
    "6": (0x06, 0x08, 0x10, 0x1E, 0x11, 0x11, 0x0E),
    "7": (0x1F, 0x01, 0x02, 0x04, 0x08, 0x08, 0x08),
    "8": (0x0E, 0x11, 0x11, 0x0E, 0x11, 0x11, 0x0E),
    "9": (0x0E, 0x11, 0x11, 0x0F, 0x01, 0x02, 0x0C),
    "-": (0x00, 0x00, 0x00, 0x1F, 0x00, 0x00, 0x00),
}
"""Five columns (lowest bit on the right) by seven rows from the top: the usual dot-matrix letters."""


def text_section(text: str, *, dot_mm: float = DOT_MM) -> Section:
    """Return text as a region, its lower left corner at the origin.

    Dots overlap a little, so that dots that meet at a corner are joined.

    Examples
    --------
    >>> text_section("I", dot_mm=1.0).contains([[2.5, 3.5], [0.5, 3.5]]).tolist()
    [True, False]
    """
    dots = []
    for place, letter in enumerate(text):
        left = place * (_COLUMNS + 1) * dot_mm
        for row, bits in enumerate(_GLYPHS[letter]):
            low = (_ROWS - 1 - row) * dot_mm
            for first, last in _runs(bits):
                dots.append(
                    rectangle(
                        (left + first * dot_mm - _OVERLAP_MM, low - _OVERLAP_MM),
                        (left + last * dot_mm + _OVERLAP_MM, low + dot_mm + _OVERLAP_MM),
                    )
                )
    return merged(dots)


def _runs(bits: int) -> list[tuple[int, int]]:
    """Return where dots begin and end in a row, from the left."""
    row = [bits >> (_COLUMNS - 1 - column) & 1 for column in range(_COLUMNS)] + [0]
    starts = [i for i in range(_COLUMNS) if row[i] and not (i and row[i - 1])]
    return [(start, next(i for i in range(start, _COLUMNS + 1) if not row[i])) for start in starts]


def arrow_section(*, up: bool, dot_mm: float = DOT_MM) -> Section:
    """Return an arrow of a letter's size that points up or down, its lower left corner at the origin."""
    points = np.array([[1.8, 0], [3.2, 0], [3.2, 4], [5, 4], [2.5, 7], [0, 4], [1.8, 4]]) * dot_mm
    if not up:
        points = np.array([5.0, 7.0]) * dot_mm - points
    shaft, head = points[[0, 1, 2, 6]], points[[3, 4, 5]]
    return merged([hull_section(shaft), hull_section(head)])


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Mark:
    """The mark of one half.

    Attributes
    ----------
    tool : Solid
        What is cut away.
    coded : bool
        Whether it carries the job code.
    """

    tool: Solid
    coded: bool


def mark_tools(outside: Solid, plan: Section, frame: MouldFrame, job_code: str) -> list[Mark]:
    """Return the bodies to cut away for the marks on the level bottom of both halves.

    Each half carries its letter, an arrow along its pull and the job code, readable from below: in one line
    or two, in the largest size that finds room; without the code where that finds none.

    Parameters
    ----------
    outside : Solid
        The envelope, in mould coordinates.
    plan : Section
        Where the halves meet.
    frame : MouldFrame
        With the parting surface.
    job_code : str
        Letters, digits and hyphens; may be empty.

    Returns
    -------
    list of Mark
        One per half; fewer where the bottom has no room.
    """
    floor = float(outside.bounds_mm[0, 1])
    bottom = _bottom(outside, floor).offset(-_EDGE_MM)
    middle = float(plan.bounds_mm[:, 0].mean())
    tools = []
    for letter, up in (("A", True), ("B", False)):
        for label, coded in _labels(letter, job_code, up=up):
            width, height = label.bounds_mm[1]
            over = middle + (width / 2.0 + 1.0) * np.linspace(-1.0, 1.0, _SAMPLES)
            heights = frame.height_mm(np.column_stack([over, np.full(_SAMPLES, floor)]))
            edge = float(heights.max()) + _EDGE_MM if up else float(heights.min()) - _EDGE_MM - height
            placed = shifted(label, (middle - width / 2.0, edge))
            if (placed - bottom).area_mm2 < 1e-6:
                tools.append(Mark(tool=_cut(placed, floor), coded=coded))
                break
    return tools


def _labels(letter: str, job_code: str, *, up: bool) -> Iterator[tuple[Section, bool]]:
    """Yield the label in ever smaller forms, and whether it carries the code."""
    dots = (DOT_MM, _SMALL_DOT_MM)
    for dot, code in [(dot, job_code) for dot in dots] + [(dot, "") for dot in dots]:
        step = (_COLUMNS + 1) * dot
        head = [
            text_section(letter, dot_mm=dot),
            shifted(arrow_section(up=up, dot_mm=dot), (1.5 * step, 0.0)),
        ]
        if not code:
            yield merged(head), False
            continue
        words = text_section(code, dot_mm=dot)
        yield merged([*head, shifted(words, (3.0 * step, 0.0))]), True
        yield merged([words, *(shifted(part, (0.0, (_ROWS + 2) * dot)) for part in head)]), True


def _bottom(outside: Solid, floor: float) -> Section:
    """Return the bottom face as a region along u and w."""
    matrix = np.array([[1.0, 0, 0, 0], [0, 0, 1.0, 0], [0, -1.0, 0, 0], [0, 0, 0, 1.0]])  # (u, w, −v)
    return level_section(outside.transformed(matrix), -floor - DEPTH_MM / 2.0)


def _cut(region: Section, floor: float) -> Solid:
    back = np.array(
        [[1.0, 0, 0, 0], [0, 0, -1.0, 0], [0, 1.0, 0, 0], [0, 0, 0, 1.0]]
    )  # (u, w, −v) to (u, v, w)
    return region.extruded(-floor - DEPTH_MM, -floor + 1.0).transformed(back)

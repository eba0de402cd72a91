"""The PDF's page: fonts, styles, running head and foot, page numbers."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

from reportlab import rl_config
from reportlab.lib.colors import HexColor
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import registerFont, registerFontFamily, stringWidth
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

from mirrorprep.handover.palette import CAUTION, CLEAR, INK, NOTE, RULE, STOP

PAGES: Final = {"a4": A4, "letter": LETTER}
MARGIN: Final = 16 * mm
HEAD: Final = 15 * mm
FOOT: Final = 21 * mm
FAINT: Final = "#5d676e"

_FONTS: Final = {
    "Sheet": "DejaVuSans.ttf",
    "Sheet-Bold": "DejaVuSans-Bold.ttf",
    "Sheet-Mono": "DejaVuSansMono.ttf",
}


def prepare_writer() -> None:
    """Make the fonts that matplotlib carries known to the PDF writer, and let it write bytes as they are."""
    import matplotlib as mpl

    rl_config.useA85 = 0  # pictures as text would be a quarter larger and take longer
    folder = Path(mpl.get_data_path()) / "fonts" / "ttf"
    for name, file in _FONTS.items():
        registerFont(TTFont(name, str(folder / file)))
    registerFontFamily("Sheet", normal="Sheet", bold="Sheet-Bold", italic="Sheet", boldItalic="Sheet-Bold")


def _style(name: str, size: float, lead: float, **options: Any) -> ParagraphStyle:  # noqa: ANN401
    base = {"fontName": "Sheet", "textColor": HexColor(INK), "splitLongWords": True}
    return ParagraphStyle(name, fontSize=size, leading=lead, **{**base, **options})


STYLES: Final = {
    "text": _style("text", 9, 12.5),
    "lead": _style("lead", 9, 12.5, spaceAfter=4),
    "small": _style("small", 7.6, 10, textColor=HexColor(FAINT)),
    "cell": _style("cell", 8.4, 11),
    "faint": _style("faint", 8.4, 11, textColor=HexColor(FAINT)),
    "number": _style("number", 8.4, 11, fontName="Sheet-Bold"),
    "code": _style("code", 6.9, 9, fontName="Sheet-Mono", wordWrap="CJK"),
    "digest": _style("digest", 6.4, 9, fontName="Sheet-Mono", wordWrap="CJK"),
    "head": _style("head", 7.4, 9.5, textColor=HexColor(FAINT)),
    "title": _style("title", 15, 19, fontName="Sheet-Bold"),
    "section": _style("section", 11.5, 15, fontName="Sheet-Bold", spaceBefore=12, spaceAfter=4),
    "verdict": _style("verdict", 16, 20, fontName="Sheet-Bold"),
    "big": _style("big", 13, 16, fontName="Sheet-Bold"),
    "step": _style("step", 9.4, 13),
}

COLORS: Final = {
    "ready": HexColor(CLEAR),
    "cautions": HexColor(CAUTION),
    "stopped": HexColor(STOP),
    "note": HexColor(NOTE),
    "caution": HexColor("#8f5500"),
    "stop": HexColor(STOP),
    "ink": HexColor(INK),
    "rule": HexColor(RULE),
    "faint": HexColor(FAINT),
}


class NumberedCanvas(Canvas):  # type: ignore[misc]
    """A canvas that knows, when it writes a page's foot, how many pages there are."""

    job_code: str = ""
    cautions: Sequence[str] = ()

    def __init__(self, *args: Any, **options: Any) -> None:  # noqa: ANN401 - reportlab's own signature
        super().__init__(*args, **{**options, "initialFontName": "Sheet"})
        self._kept: list[dict[str, Any]] = []

    def showPage(self) -> None:  # noqa: N802 - reportlab's own name
        """Keep the page until the number of pages is known."""
        self._kept.append(dict(self.__dict__))
        self._startPage()

    def save(self) -> None:
        """Write all pages with their head and foot."""
        for number, page in enumerate(self._kept, start=1):
            self.__dict__.update(page)
            self._frame(number, len(self._kept))
            super().showPage()
        super().save()

    def _frame(self, number: int, count: int) -> None:
        width, height = self._pagesize
        self.setFillColor(COLORS["faint"])
        self.setFont("Sheet", 7.6)
        top = height - 10 * mm
        self.drawString(MARGIN, top, f"traveller {self.job_code}")
        self.drawRightString(width - MARGIN, top, f"page {number} of {count}")
        self.setStrokeColor(COLORS["ink"])
        self.setLineWidth(0.9)
        self.line(MARGIN, top - 2 * mm, width - MARGIN, top - 2 * mm)
        self.line(MARGIN, 17 * mm, width - MARGIN, 17 * mm)
        self.setFillColor(COLORS["ink"])
        for row, caution in enumerate(self.cautions):
            font = "Sheet-Bold" if row == 0 else "Sheet"
            size = _fitting(caution, font, 6.9, width - 2 * MARGIN)
            self.setFont(font, size)
            self.drawString(MARGIN, (13.4 - 3.3 * row) * mm, caution)


def _fitting(words: str, font: str, size: float, width: float) -> float:
    """Return the size at which the words fit on one line, at most `size`."""
    return min(size, size * width / max(float(stringWidth(words, font, size)), 1e-9))

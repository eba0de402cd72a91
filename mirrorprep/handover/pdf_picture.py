"""A picture in the PDF that gives way a little rather than leave half a page empty."""

import io
from html import escape
from typing import Any, Final

from reportlab.lib.units import mm
from reportlab.lib.utils import ImageReader
from reportlab.platypus import Flowable, Paragraph

from mirrorprep.handover.encoding import jpeg
from mirrorprep.handover.pdf_page import STYLES
from mirrorprep.handover.traveller import Picture

TALLEST: Final = 100 * mm
LEAST_SHARE: Final = 0.55
"""A picture shrinks to this share of its size when that makes it fit on the page."""


class FittedPicture(Flowable):  # type: ignore[misc]
    """A picture with its caption below, as wide as the page unless it would be too tall.

    Parameters
    ----------
    picture : Picture
        With its caption.
    width : float
        Width of the page's text, in points.
    least : float
        Share of its size down to which it gives way.
    """

    def __init__(self, picture: Picture, width: float, *, least: float = LEAST_SHARE) -> None:
        super().__init__()
        content, across, down = jpeg(picture.png)
        self._image = ImageReader(io.BytesIO(content))
        scale = min(width / across, TALLEST / down)
        self._size = (across * scale, down * scale)
        self._caption = Paragraph(escape(picture.caption), STYLES["small"])
        self._least, self._share = least, 1.0

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        """Return the room needed, smaller when a smaller picture fits what is left of the page."""
        _, words = self._caption.wrap(width, height)
        room = (height - words - 2 * mm) / self._size[1]
        self._share = room if self._least <= room < 1.0 else 1.0
        self._words = words
        return width, self._size[1] * self._share + words + 2 * mm

    def draw(self) -> None:
        """Draw the picture and its caption."""
        across, down = (side * self._share for side in self._size)
        canvas: Any = self.canv
        canvas.drawImage(self._image, 0, self._words + 2 * mm, width=across, height=down)
        self._caption.drawOn(canvas, 0, 0)

"""Lighter encodings of pictures for pages: WebP for HTML, JPEG for PDF."""

import base64
import io
from typing import Final

import numpy as np
from numpy.typing import NDArray

from mirrorprep.handover.palette import PAPER

_PNG_LEVEL: Final = 1
_WEBP_QUALITY: Final = 82
_JPEG_QUALITY: Final = 88


def png_file(pixels: NDArray[np.uint8]) -> bytes:
    """Return (h, w, 3) pixels as a PNG file, packed quickly: pages carry lighter copies."""
    from PIL import Image

    stream = io.BytesIO()
    Image.fromarray(np.ascontiguousarray(pixels)).save(stream, "PNG", compress_level=_PNG_LEVEL)
    return stream.getvalue()


def webp_data_uri(png: bytes) -> tuple[str, int, int]:
    """Return a PNG as a WebP data address, with its width and height in pixels."""
    from PIL import Image

    with Image.open(io.BytesIO(png)) as picture:
        stream = io.BytesIO()
        picture.convert("RGB").save(stream, "WEBP", quality=_WEBP_QUALITY, method=4)
        width, height = picture.size
    return f"data:image/webp;base64,{base64.b64encode(stream.getvalue()).decode('ascii')}", width, height


def jpeg(png: bytes) -> tuple[bytes, int, int]:
    """Return a PNG as JPEG bytes on paper colour, with its width and height in pixels."""
    from PIL import Image

    with Image.open(io.BytesIO(png)) as picture:
        flat = Image.new("RGB", picture.size, PAPER)
        shown = picture.convert("RGBA")
        flat.paste(shown, mask=shown.getchannel("A"))
        stream = io.BytesIO()
        flat.save(stream, "JPEG", quality=_JPEG_QUALITY, subsampling=0)
        return stream.getvalue(), *flat.size

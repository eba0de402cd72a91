"""Lighter encodings of pictures."""

import base64
import io

import numpy as np
import pytest
from handover_sheets import small_png
from matplotlib.image import imread

from mirrorprep.handover.encoding import jpeg, webp_data_uri


def test_webp_is_lighter_and_looks_the_same():
    image = pytest.importorskip("PIL.Image")
    png = small_png(size=(640, 400))
    address, width, height = webp_data_uri(png)
    assert address.startswith("data:image/webp;base64,")
    assert (width, height) == (640, 400)
    content = base64.b64decode(address.split(",")[1])
    assert content[8:12] == b"WEBP"
    seen = np.asarray(image.open(io.BytesIO(content)).convert("RGB")) / 255
    assert np.abs(seen - imread(io.BytesIO(png))[:, :, :3]).mean() < 0.02


def test_jpeg_keeps_size_and_paper():
    content, width, height = jpeg(small_png())
    assert content[:2] == b"\xff\xd8"
    assert (width, height) == (320, 200)
    assert jpeg(small_png()) == (content, width, height)

"""The small picture shows something and is the same every time."""

import io

import numpy as np
import pytest
from matplotlib.image import imread

from mirrorprep.handover.display import working_window
from mirrorprep.handover.thumbnail import picture_thumbnail
from mirrorprep.solid.primitives import box


@pytest.mark.skipif(working_window() is None, reason="this machine cannot draw off-screen")
def test_thumbnail_is_square_and_shows_the_part():
    first = picture_thumbnail(box([4, 5, 6]), side_px=60)
    image = imread(io.BytesIO(first))
    assert image.shape[:2] == (60, 60)
    assert np.ptp(image[..., 0]) > 0.2
    assert picture_thumbnail(box([4, 5, 6]), side_px=60) == first

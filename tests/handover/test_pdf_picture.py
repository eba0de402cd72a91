"""Pictures of the PDF give way a little, never much."""

import pytest
from handover_sheets import small_png

from mirrorprep.handover.pdf_page import prepare_writer
from mirrorprep.handover.pdf_picture import LEAST_SHARE, TALLEST, FittedPicture
from mirrorprep.handover.traveller import Picture


@pytest.fixture
def fitted():
    prepare_writer()
    picture = Picture(name="p", png=small_png(size=(400, 200)), caption="A <caption> & more.")
    return FittedPicture(picture, 500.0)


def test_with_room_it_is_as_wide_as_the_page(fitted):
    width, height = fitted.wrap(500.0, 700.0)
    assert width == 500.0
    assert 250.0 < height < 275.0  # half as tall as wide, and the caption


def test_with_a_little_less_room_it_shrinks_to_fit(fitted):
    full = fitted.wrap(500.0, 700.0)[1]
    assert fitted.wrap(500.0, 0.85 * full)[1] == pytest.approx(0.85 * full)


def test_with_much_less_room_it_asks_for_the_next_page(fitted):
    full = fitted.wrap(500.0, 700.0)[1]
    assert fitted.wrap(500.0, 0.8 * LEAST_SHARE * full)[1] == full


def test_a_tall_picture_is_bounded():
    prepare_writer()
    picture = Picture(name="p", png=small_png(size=(200, 900)), caption="Tall.")
    assert FittedPicture(picture, 500.0).wrap(500.0, 700.0)[1] < TALLEST + 30

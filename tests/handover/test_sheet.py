"""Sheets: scale bar, layout, equal bytes."""

import io

import numpy as np
import pytest
from matplotlib.image import imread

from mirrorprep.handover.bodies import body
from mirrorprep.handover.panel import View
from mirrorprep.handover.sheet import GAP, TITLE, PanelSpec, Sheet, round_length, strip
from mirrorprep.solid.primitives import box

FRONT = View(toward=(0, -1, 0))


def pixels(png):
    return np.round(imread(io.BytesIO(png))[:, :, :3] * 255).astype(int)


@pytest.mark.parametrize(
    ("reach", "length"), [(1.0, 1.0), (4.9, 2.0), (5.0, 5.0), (0.03, 0.02), (99.0, 50.0)]
)
def test_round_length(reach, length):
    assert round_length(reach) == pytest.approx(length)


def test_the_scale_bar_is_as_long_as_it_says(drawing):
    sheet = strip([PanelSpec(bodies=[body(box([40, 1, 20]), "#d8cdbb")], view=FRONT)], panel_px=(400, 400))
    panel = sheet.panels[0]
    length_mm = round_length(0.3 * 400 * panel.mm_per_px)
    row = pixels(sheet.png())[panel.top + panel.height + 30]
    dark = np.flatnonzero((row.sum(axis=1) < 300)[: GAP + 250])
    bar = dark[: np.flatnonzero(np.diff(dark) > 1)[0] + 1]  # up to the first gap, before the words
    assert len(bar) * panel.mm_per_px == pytest.approx(length_mm, rel=0.03)


def test_panels_stand_where_they_say(drawing):
    spec = PanelSpec(bodies=[body(box([40, 1, 60]), "#d8cdbb")], view=FRONT, title="front")
    sheet = strip([spec, spec], panel_px=[(300, 200), (200, 300)], foot_px=50)
    assert [(p.left, p.top) for p in sheet.panels] == [(GAP, TITLE), (2 * GAP + 300, TITLE)]
    assert sheet.panels[0].mm_per_px == sheet.panels[1].mm_per_px
    picture = pixels(sheet.png())
    assert picture.shape[:2] == (sheet.height, sheet.width)
    for panel in sheet.panels:
        x, y = panel.place([[0, 0, 0]])[0]
        red, green, blue = picture[round(y), round(x)]
        assert red > green > blue  # the bone colour, not the paper
        assert panel.visible([[0, -0.5, 0]]).all()


def test_a_panel_is_no_taller_than_its_bodies_need(drawing):
    flat, tall = (PanelSpec(bodies=[body(box([40, 1, z]), "#d8cdbb")], view=FRONT) for z in (30.0, 1000.0))
    assert strip([flat], panel_px=(400, 900)).panels[0].height == pytest.approx(300, abs=2)
    assert strip([tall], panel_px=(400, 900)).panels[0].height == 900


def test_each_panel_its_own_scale_on_request(drawing):
    small, large = (PanelSpec(bodies=[body(box([s, 1, s]), "#d8cdbb")], view=FRONT) for s in (10.0, 100.0))
    sheet = strip([small, large], panel_px=(200, 200), common_scale=False)
    assert sheet.panels[1].mm_per_px == pytest.approx(10 * sheet.panels[0].mm_per_px)


def test_same_sheet_same_bytes_and_no_date():
    def made():
        sheet = Sheet(200, 100)
        sheet.text(10, 20, "words")
        sheet.arrow((10, 50), (60, 50))
        return sheet.png()

    assert made() == made()
    assert b"tIME" not in made()
    assert b"Software" not in made()


def test_the_width_of_words_is_told():
    sheet = Sheet(400, 100)
    short, long = sheet.text(0, 20, "wide"), sheet.text(0, 60, "wide and wider")
    assert 20 < short < long < 300

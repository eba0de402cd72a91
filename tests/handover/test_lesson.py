"""The lesson: valid, self-contained, and its worked examples are right."""

import re

import numpy as np
import pytest
from handover_browser import NO_WEBGL, Browser
from handover_sheets import small_data

from mirrorprep import cautions
from mirrorprep.errors import OutputError
from mirrorprep.geometry.mass_properties import signed_volume_mm3
from mirrorprep.geometry.reflection import reflect
from mirrorprep.handover import mathml
from mirrorprep.handover.lesson import lesson_html, write_lesson
from mirrorprep.handover.lesson_steps import STEPS
from mirrorprep.solid.primitives import box
from mirrorprep.units import STANDARD_GRAVITY_M_S2


def example(key):
    return next(step.example for step in STEPS if step.key == key)


def test_it_is_valid_html_and_asks_for_nothing():
    html5lib = pytest.importorskip("html5lib")
    page = lesson_html(small_data())
    html5lib.HTMLParser(strict=True).parse(page)
    assert "http" not in page.replace("http-equiv", "")
    assert page.count(f">{cautions.RESEARCH_ONLY}</p>") == 2


def test_every_step_has_formula_source_and_example():
    page = lesson_html()
    assert page.count("<math ") == len(STEPS)
    assert page.count("Worked example.") == len(STEPS)
    assert page.count("Source: ") == len(STEPS)
    assert len({step.key for step in STEPS}) == len(STEPS)


def test_figures_and_pictures_of_a_job_illustrate_it():
    plain, illustrated = lesson_html(), lesson_html(small_data())
    assert "<img" not in plain
    assert illustrated.count("<img") == 1
    assert "36\u202f300 mm³" in illustrated
    assert "TP-014" in illustrated


def test_same_bytes_and_never_over_another_file(tmp_path):
    first = write_lesson(tmp_path, small_data())
    second = write_lesson(tmp_path / "other", small_data())
    assert first.read_bytes() == second.read_bytes()
    with pytest.raises(OutputError, match="exists already"):
        write_lesson(tmp_path)


def test_examples_of_plane_and_mirror():
    image = reflect(np.array([[1.0, 0.0, 0.0]]), np.array([1, 2, 2]) / 3, 4.0)[0]
    np.testing.assert_allclose(image * 9, [31, 44, 44])
    assert "(31/9, 44/9, 44/9)" in example("plane")
    assert f"= {2 * 80 * np.sin(np.radians(1)):.1f} mm" in example("plane")
    cube = box([1, 2, 3]).mesh
    assert signed_volume_mm3(reflect(cube.vertices, [1, 0, 0], 0.0), cube.faces) == pytest.approx(-6)


def test_examples_of_volume_and_shell():
    corner = np.array([[0.0, 0, 0], [3, 0, 0], [0, 5, 0], [0, 0, 7]])
    faces = np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    assert signed_volume_mm3(corner, faces) == pytest.approx(17.5)
    volume = 4 / 3 * np.pi * 31.5 * 18 * 9
    assert f"{volume:,.0f}".replace(",", " ") in example("part")
    assert f"{volume * 1.10e-3:.1f} g" in example("part")
    grown = 24000 + 5200 * 3 + 90 * np.pi * 9 + 4 / 3 * np.pi * 27
    assert f"{grown:,.0f}".replace(",", " ") in example("exploded")
    assert f"{grown - 24000:,.0f}".replace(",", " ") in example("exploded")


def test_examples_of_draft_and_pour():
    assert np.degrees(np.arcsin(0.0349)) == pytest.approx(2.0, abs=0.001)
    assert f"{np.sqrt(2 * STANDARD_GRAVITY_M_S2 * 0.25):.2f} m/s" in example("filling")
    pressure = 1100 * STANDARD_GRAVITY_M_S2 * 0.040
    flow = np.pi * pressure * 0.004**4 / (8 * 5 * 0.030)
    assert f"{25e-6 / flow:.0f} s" in example("filling")


def test_formulas_are_well_formed():
    for step in STEPS:
        opened = re.findall(r"<(\w+)[^>]*>", step.formula)
        closed = re.findall(r"</(\w+)>", step.formula)
        assert sorted(opened) == sorted(closed)
    assert mathml.sup("t", "2") == "<msup><mi>t</mi><mn>2</mn></msup>"
    assert mathml.vector("Hn") == "<mi>𝐇𝐧</mi>"


def test_a_browser_shows_it_without_a_word(tmp_path):
    browser = Browser(tmp_path / "profile", NO_WEBGL)
    try:
        browser.open(write_lesson(tmp_path, small_data()))
        assert browser.ask("document.querySelectorAll('math').length") == len(STEPS)
        assert browser.ask(
            "[...document.querySelectorAll('math')].every((m) => m.getBoundingClientRect().height > 15)"
        )
        assert browser.complaints() == []
        assert browser.requests() == []
    finally:
        browser.close()

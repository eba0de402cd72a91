"""The PDF traveller, opened by poppler and by an independent reader."""

import shutil
import subprocess

import numpy as np
import pytest
from handover_sheets import NASTY, small_data
from matplotlib.image import imread

from mirrorprep import cautions
from mirrorprep.handover.traveller import SIGN_OFF, State, Step
from mirrorprep.handover.traveller_pdf import traveller_pdf

poppler = pytest.mark.skipif(shutil.which("pdftotext") is None, reason="poppler's tools are absent")
LONG = tuple(Step(text=f"Step number {i}.", numbers="1 g", caution=cautions.PRY_AWAY) for i in range(60))


@pytest.fixture(scope="module")
def sheet(tmp_path_factory):
    path = tmp_path_factory.mktemp("pdf") / "traveller.pdf"
    path.write_bytes(traveller_pdf(small_data(steps=LONG)))
    return path


def run(*command):
    return subprocess.run(command, capture_output=True, text=True, check=True)


def pages_of(path):
    return run("pdftotext", "-layout", str(path), "-").stdout.split("\f")[:-1]


@poppler
def test_poppler_opens_it_without_a_word(sheet):
    done = run("pdfinfo", str(sheet))
    assert done.stderr == ""
    assert "Pages:" in done.stdout


@poppler
def test_every_page_has_its_number_and_the_cautions(sheet):
    pages = pages_of(sheet)
    assert len(pages) >= 4
    for number, page in enumerate(pages, start=1):
        assert f"page {number} of {len(pages)}" in page
        assert "traveller TP-014" in page
        for caution in cautions.ALL:
            assert caution in page


@poppler
def test_the_words_are_all_there(sheet):
    text = " ".join(" ".join(pages_of(sheet)).split())
    for words in (
        "Ready, with cautions",
        "36 300 mm³",
        "± 300 mm³",
        "unknown",
        "does not hold",
        "flexible casting",
    ):
        assert words in text.replace("\u202f", " ")
    for words in SIGN_OFF:
        assert f"{words}: initials, date" in text
    assert "alert(" in text  # what looks like markup is shown as words
    assert NASTY[:8] in text


@poppler
def test_fonts_are_embedded_and_both_page_sizes_exist(tmp_path):
    for page, size in (("a4", "595.276 x 841.89"), ("letter", "612 x 792")):
        path = tmp_path / f"{page}.pdf"
        path.write_bytes(traveller_pdf(small_data(), page=page))
        assert size in run("pdfinfo", str(path)).stdout
    used = [line for line in run("pdffonts", str(path)).stdout.splitlines() if "DejaVu" in line]
    assert len(used) >= 2
    assert all(" yes yes yes" in line for line in used)


@poppler
def test_pages_are_drawn_with_margins_free(sheet, tmp_path):
    run("pdftoppm", "-r", "40", "-png", str(sheet), str(tmp_path / "page"))
    pictures = sorted(tmp_path.glob("page*.png"))
    assert len(pictures) >= 4
    for picture in pictures:
        ink = imread(picture)[:, :, :3].min(axis=2) < 0.8
        assert 0.005 < ink.mean() < 0.5
        edge = round(0.04 * ink.shape[1])
        assert not ink[:, :edge].any()
        assert not ink[:, -edge:].any()


def test_same_data_same_bytes():
    assert traveller_pdf(small_data()) == traveller_pdf(small_data())


def test_an_independent_reader_agrees(sheet):
    reader = pytest.importorskip("pypdf").PdfReader(sheet)
    assert reader.metadata.title == "Traveller TP-014"
    assert reader.metadata.subject == cautions.RESEARCH_ONLY
    assert "page 1 of" in reader.pages[0].extract_text()


@pytest.mark.parametrize("state", list(State))
def test_each_state_can_be_drawn(state):
    assert traveller_pdf(small_data(state=state, pictures=(), sections=()))[:5] == b"%PDF-"


def test_an_empty_sheet_can_be_drawn():
    nothing = dict.fromkeys(
        ("sections", "checks", "findings", "waivers", "pictures", "files", "steps", "sources"), ()
    )
    assert traveller_pdf(small_data(**nothing, settings={}, versions={}))[:5] == b"%PDF-"


@poppler
def test_long_words_do_not_run_off_the_page(tmp_path):
    path = tmp_path / "long.pdf"
    path.write_bytes(traveller_pdf(small_data(settings={"x" * 150: "y" * 400})))
    run("pdftoppm", "-r", "40", "-png", str(path), str(tmp_path / "page"))
    for picture in tmp_path.glob("page*.png"):
        ink = imread(picture)[:, :, :3].min(axis=2) < 0.8
        assert not ink[:, -round(0.04 * ink.shape[1]) :].any()
    assert np.isfinite(ink.mean())

"""The HTML traveller: valid, self-contained, alive in a real browser."""

import re
from html.parser import HTMLParser

import pytest
from handover_browser import NO_WEBGL, WEBGL, Browser
from handover_sheets import NASTY, small_data, small_scene

from mirrorprep import cautions
from mirrorprep.handover.traveller import State
from mirrorprep.handover.traveller_html import traveller_html
from mirrorprep.handover.view import Scene, SceneBody
from mirrorprep.solid.primitives import sphere

VOID = {"meta", "img", "input", "br", "link"}


class Outline(HTMLParser):
    """Collects tags with their attributes, and headings with their words."""

    def __init__(self, text):
        super().__init__()
        self.tags, self._open, self.headings = [], [], []
        self.feed(text)
        self.close()
        assert self._open == []

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID and tag not in {"path", "circle", "rect"}:
            self._open.append(tag)
        if re.fullmatch("h[1-6]", tag):
            self.headings.append([tag, ""])

    def handle_startendtag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self._open.pop() == tag

    def handle_data(self, data):
        if self._open and re.fullmatch("h[1-6]", self._open[-1]):
            self.headings[-1][1] += data


@pytest.fixture(scope="module")
def page():
    return traveller_html(small_data(scene=small_scene()))


def test_it_is_valid_html(page):
    # the parsing rules of the HTML standard, strictly applied by html5lib
    html5lib = pytest.importorskip("html5lib")
    html5lib.HTMLParser(strict=True).parse(page)
    html5lib.HTMLParser(strict=True).parse(traveller_html(small_data()))


def test_tags_close_ids_are_unique_and_pictures_are_described(page):
    tags = Outline(page).tags
    ids = [attributes["id"] for _, attributes in tags if "id" in attributes]
    assert len(ids) == len(set(ids))
    for tag, attributes in tags:
        if tag == "img":
            assert attributes["alt"]
            assert int(attributes["width"]) > 0
        if tag == "label" and "for" in attributes:
            assert attributes["for"] in ids
        assert "style" not in attributes  # the page's own policy forbids it
        assert not any(name.startswith("on") for name in attributes)


def test_verdict_first_then_figures_then_evidence(page):
    order = ["Mirrored ball", "Ready, with cautions", "The shapes", "Part", "What was verified", "Waivers"]
    order += ["Steps", "More pictures", "Cautions", "Evidence", "Method sources"]
    headings = [words for _, words in Outline(page).headings]
    assert [
        next(i for i, words in enumerate(headings) if words.startswith(start)) for start in order
    ] == list(range(len(order)))


def test_it_asks_for_nothing_from_outside(page):
    assert not re.search(r"""(?:src|href)\s*=\s*["'](?!data:)""", page)
    assert "http://" not in page.replace("http://www.w3.org/2000/svg", "")
    assert "https://" not in page
    assert "default-src 'none'" in page


def test_what_comes_in_is_escaped(page):
    assert "<script>alert" not in page
    assert page.count("&lt;script&gt;alert") >= 2
    assert NASTY not in page


def test_the_cautions_are_all_there_and_frame_the_page(page):
    for caution in cautions.ALL:
        assert caution in page
    assert page.count(f">{cautions.RESEARCH_ONLY}</p>") == 2


@pytest.mark.parametrize("state", list(State))
def test_each_state_has_its_word_and_shape(state):
    page = traveller_html(small_data(state=state))
    shape = {"ready": "<circle", "ready with cautions": "M32 6l28 50H4z", "stopped": "M21 5h22"}[state]
    block = page.split('id="verdict"')[1].split("</svg>")[0]
    assert shape in block


def test_a_sheet_without_extras_still_stands():
    page = traveller_html(
        small_data(
            sections=(),
            checks=(),
            findings=(),
            waivers=(),
            pictures=(),
            files=(),
            steps=(),
            settings={},
            sources=(),
        )
    )
    assert "Nothing was found." in page
    assert "Nothing was waived." in page
    assert "<script" not in page
    assert "script-src 'none'" in page


def test_size_at_a_hundred_thousand_triangles():
    # the limit of the specification: 8 MiB; the view says that it is decimated
    heavy = Scene(bodies=[SceneBody(name="part", mesh=sphere(50, segments=520))])
    page = traveller_html(small_data(scene=heavy))
    assert len(page.encode()) < 8 * 2**20
    assert "of 135\u202f200 triangles; the files hold all" in page


# --- in a real browser


@pytest.fixture(scope="module")
def browser(tmp_path_factory):
    made = Browser(tmp_path_factory.mktemp("profile"), WEBGL)
    yield made
    made.close()


@pytest.fixture(scope="module")
def opened(browser, page, tmp_path_factory):
    file = tmp_path_factory.mktemp("page") / "traveller.html"
    file.write_text(page, encoding="utf-8")
    browser.open(file)
    browser.wait("document.querySelector('#view-canvas').dataset.state !== 'waiting'")
    if browser.ask("document.querySelector('#view-canvas').dataset.state") == "absent":
        pytest.skip("this Chromium has no WebGL")
    return browser


def told(browser, name):
    return browser.ask(f"document.querySelector('#view-canvas').dataset.{name}")


def put(browser, selector, value, event="input"):
    browser.ask(
        f"(() => {{ const c = document.querySelector('{selector}'); c.value = '{value}';"
        f"c.dispatchEvent(new Event('{event}', {{bubbles: true}})); }})()"
    )


def test_no_complaint_and_no_request(opened):
    assert told(opened, "state") == "drawn"
    assert opened.complaints() == []
    assert opened.requests() == []


def test_the_slider_moves_the_halves(opened):
    put(opened, "#view-open", 0)
    opened.wait("document.querySelector('#view-canvas').dataset.open === '0.00'")
    closed = opened.picture("#view-canvas")
    assert float(told(opened, "apart")) == 0
    put(opened, "#view-open", 100)
    opened.wait("document.querySelector('#view-canvas').dataset.open === '1.00'")
    assert float(told(opened, "apart")) == pytest.approx(2 * 1.2 * 30, abs=0.1)  # the block is 30 mm high
    assert opened.picture("#view-canvas") != closed
    assert opened.complaints() == []


def test_the_arrow_keys_move_the_slider_too(opened):
    opened.ask("document.querySelector('#view-open').focus()")
    put(opened, "#view-open", 50)
    for kind in ("keyDown", "keyUp"):
        opened.call(
            "Input.dispatchKeyEvent", type=kind, key="ArrowRight", code="ArrowRight", windowsVirtualKeyCode=39
        )
    opened.wait("document.querySelector('#view-canvas').dataset.open === '0.51'")


def test_maps_and_check_boxes(opened):
    plain = opened.picture("#view-canvas")
    put(opened, "#view-maps", "deviation", "change")
    opened.wait("document.querySelector('#view-canvas').dataset.map === 'deviation'")
    assert opened.ask("document.querySelector('#view-key-low').textContent") == "−1 mm"
    assert opened.ask("document.querySelector('#view-key-high').textContent") == "+1 mm"
    assert opened.picture("#view-canvas") != plain
    before = int(told(opened, "triangles"))
    opened.ask("document.querySelector('#view-body-0').click()")
    opened.wait(f"document.querySelector('#view-canvas').dataset.triangles < {before}")
    opened.ask("document.querySelector('#view-body-0').click()")
    put(opened, "#view-maps", "", "change")
    opened.wait("document.querySelector('#view-key').hidden")
    opened.ask("document.querySelector('#view-body-3').click()")  # the mirror plane
    opened.wait("document.querySelector('#view-body-3').checked")
    assert opened.complaints() == []


def test_dragging_turns_and_the_wheel_zooms(opened):
    box = opened.ask(
        "(() => { const c = document.querySelector('#view-canvas'); c.scrollIntoView();"
        "const b = c.getBoundingClientRect(); return {x: b.x + b.width / 2, y: b.y + b.height / 2}; })()"
    )
    before = opened.picture("#view-canvas")
    opened.call("Input.dispatchMouseEvent", type="mousePressed", button="left", clickCount=1, **box)
    moved = {"x": box["x"] + 120, "y": box["y"] + 40}
    opened.call("Input.dispatchMouseEvent", type="mouseMoved", button="left", buttons=1, **moved)
    opened.call("Input.dispatchMouseEvent", type="mouseReleased", button="left", **moved)
    opened.wait("true")
    turned = opened.picture("#view-canvas")
    assert turned != before
    scale = float(told(opened, "scale"))
    opened.call("Input.dispatchMouseEvent", type="mouseWheel", deltaX=0, deltaY=300, **box)
    opened.wait(f"+document.querySelector('#view-canvas').dataset.scale > {scale * 1.2}")
    opened.ask("document.querySelector('#view-reset').click()")
    opened.wait(f"+document.querySelector('#view-canvas').dataset.scale < {scale * 1.2}")
    assert opened.complaints() == []


def test_the_scale_bar_is_honest(opened):
    words = opened.ask("document.querySelector('#view-scale-words').textContent")
    width = float(opened.ask("document.querySelector('#view-scale').getAttribute('width')"))
    assert float(words.split()[0]) == pytest.approx(width * float(told(opened, "scale")), rel=0.01)


def test_without_webgl_the_page_says_so_and_shows_pictures(page, tmp_path):
    bare = Browser(tmp_path / "profile", NO_WEBGL)
    try:
        file = tmp_path / "traveller.html"
        file.write_text(page, encoding="utf-8")
        bare.open(file)
        bare.wait("document.querySelector('#view-canvas').dataset.state !== 'waiting'")
        assert bare.ask("document.querySelector('#view-canvas').dataset.state") == "absent"
        assert bare.ask("document.querySelector('#view-absent').offsetHeight") > 0
        assert bare.ask("document.querySelector('#view-tools').offsetHeight") == 0
        assert bare.ask("[...document.images].every((i) => i.complete && i.naturalWidth > 0)")
        assert bare.complaints() == []
    finally:
        bare.close()


def test_a_tampered_script_does_not_run(page, browser, tmp_path):
    file = tmp_path / "tampered.html"
    file.write_text(
        page.replace('"use strict";', '"use strict"; document.title = "taken";', 1), encoding="utf-8"
    )
    browser.open(file)
    assert browser.ask("document.title") == "Traveller TP-014"
    assert browser.ask("document.querySelector('#view-canvas').dataset.state") == "waiting"

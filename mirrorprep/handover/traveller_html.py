"""The traveller as one HTML file that needs nothing else: no network, no other file."""

import base64
import json
from collections.abc import Iterable, Mapping, Sequence
from hashlib import sha256
from html import escape
from importlib.resources import files
from typing import Final

from mirrorprep.handover.encoding import webp_data_uri
from mirrorprep.handover.figure_text import value_words
from mirrorprep.handover.html_parts import bullets, graded, sign, table, td, th
from mirrorprep.handover.html_view import view_markup
from mirrorprep.handover.provenance import PRODUCED_BY
from mirrorprep.handover.traveller import (
    HOLDS_WORDS,
    SIGN_OFF,
    STATE_WORDS,
    Check,
    Figure,
    Picture,
    Section,
    State,
    Step,
    TravellerData,
)
from mirrorprep.solid.finding import Severity

_STATE_CLASS: Final = {State.READY: "ready", State.CAUTIONS: "cautions", State.STOPPED: "stopped"}
_STATE_SHAPE: Final = {
    State.READY: '<circle cx="32" cy="32" r="28"/><path d="M18 33l10 10 18-21"/>',
    State.CAUTIONS: '<path d="M32 6l28 50H4z"/><path d="M32 24v16M32 46v4"/>',
    State.STOPPED: '<path d="M21 5h22l16 16v22l-16 16H21L5 43V21z"/><path d="M19 32h26"/>',
}
_UNSURE: Final = {True: None, False: Severity.STOP, None: Severity.CAUTION}


def traveller_html(data: TravellerData) -> str:
    """Return the traveller as the text of one HTML file; the same data give the same text."""
    view = "" if data.scene is None else view_markup(data.scene)
    script = _asset("view.js") if view else ""
    caution = escape(data.cautions[0])
    parts = [
        page_head(f"Traveller {data.job_code}", script=script),
        f'<p class="band">{caution}</p>',
        _card(data),
        "<main>",
        _verdict(data),
        _main_figures(data.main_figures),
        *_numbered(_sections(data, view)),
        "</main>",
        f'<p class="band foot">{caution}</p>',
        f"<script>{script}</script>" if script else "",
        "</body>",
        "</html>",
    ]
    return "\n".join(part for part in parts if part) + "\n"


def page_head(title: str, *, script: str = "") -> str:
    """Return the head of a page in the project's look, which forbids itself everything from outside.

    The policy names the digests of the one style and the one script; a page that was tampered with does
    not run.
    """
    style = _asset("traveller.css")
    allowed = f"'{_digest(script)}'" if script else "'none'"
    policy = f"default-src 'none'; img-src data:; style-src '{_digest(style)}'; script-src {allowed}"
    return "\n".join(
        (
            "<!DOCTYPE html>",
            '<html lang="en">',
            "<head>",
            '<meta charset="utf-8">',
            f'<meta http-equiv="Content-Security-Policy" content="{policy}">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            f"<title>{escape(title)}</title>",
            f"<style>{style}</style>",
            "</head>",
            "<body>",
        )
    )


def _asset(name: str) -> str:
    return (files("mirrorprep.handover") / "assets" / name).read_text(encoding="utf-8")


def _digest(text: str) -> str:
    return f"sha256-{base64.b64encode(sha256(text.encode('utf-8')).digest()).decode('ascii')}"


def _card(data: TravellerData) -> str:
    cells = {
        "job": data.job_code,
        "purpose": data.purpose,
        "verdict": STATE_WORDS[data.verdict.state],
        "produced by": PRODUCED_BY,
    }
    rows = "".join(f"<div><dt>{name}</dt><dd>{escape(words)}</dd></div>" for name, words in cells.items())
    title = f'<div class="title"><h1>{escape(data.title)}</h1></div>'
    return f'<header class="card">{title}<dl>{rows}</dl></header>'


def _verdict(data: TravellerData) -> str:
    state = data.verdict.state
    shape = (
        '<svg viewBox="0 0 64 64" fill="none" stroke="currentColor" stroke-width="5" '
        f'stroke-linejoin="round" aria-hidden="true">{_STATE_SHAPE[state]}</svg>'
    )
    words = f"<h2>{STATE_WORDS[state]}</h2><p>{escape(data.verdict.sentence)}</p>"
    return (
        f'<div class="verdict {_STATE_CLASS[state]}" id="verdict">{shape}'
        f"<div>{words}{bullets(data.verdict.reasons)}</div></div>"
    )


def _main_figures(figures: Sequence[Figure]) -> str:
    items = "".join(
        f'<li><span class="label">{escape(figure.label)}</span>'
        f'<span class="number">{escape(figure.words)}</span>'
        f'<span class="spread">{escape(figure.spread_words)}</span></li>'
        for figure in figures
    )
    return f'<ul class="main">{items}</ul>' if items else ""


def _sections(data: TravellerData, view: str) -> Iterable[tuple[str, str]]:
    """Yield headings and bodies in the order of the sheet; those without a body are left out."""
    yield "The shapes, to turn and open", view
    for section in data.sections:
        yield section.title, _section(data, section)
    yield "What was verified, and how", _checks(data.checks)
    yield "Waivers and findings", _waivers(data) + _findings(data)
    yield "Steps at the bench", _steps(data.steps)
    yield "More pictures", "".join(picture_markup(picture) for picture in data.loose_pictures)
    yield "Cautions", bullets(data.cautions, "cautions-list")
    yield "Evidence: files, settings, versions", _evidence(data)
    yield (
        "Method sources",
        table(("method", "source"), [th(s.method) + td(s.reference) for s in data.sources]),
    )


def _numbered(sections: Iterable[tuple[str, str]]) -> Iterable[str]:
    filled = [(title, body) for title, body in sections if body]
    for number, (title, body) in enumerate(filled, start=1):
        place = f'<span class="place">{number} of {len(filled)}</span>'
        yield f'<section id="part-{number}"><h2>{escape(title)}{place}</h2>{body}</section>'


def _section(data: TravellerData, section: Section) -> str:
    lead = f'<p class="lead">{escape(section.lead)}</p>' if section.lead else ""
    figures = table(
        ("", "value", "uncertainty", "how it was found"),
        [
            th(f.label) + td(f.words, "number") + td(f.uncertainty_words, "spread") + td(f.evidence)
            for f in section.figures
        ],
    )
    return lead + figures + "".join(picture_markup(data.picture(name)) for name in section.pictures)


def picture_markup(picture: Picture) -> str:
    """Return a picture with its caption; the picture itself stands in the page."""
    address, width, height = webp_data_uri(picture.png)
    words = escape(picture.description or picture.caption)
    return (
        f'<figure><img src="{address}" width="{width}" height="{height}" alt="{words}">'
        f"<figcaption>{escape(picture.caption)}</figcaption></figure>"
    )


def _checks(checks: Sequence[Check]) -> str:
    return table(
        ("claim", "answer", "measured", "limit", "how"),
        [
            th(c.claim)
            + graded(_UNSURE[c.holds], HOLDS_WORDS[c.holds])
            + td(c.measured)
            + td(c.limit)
            + td(c.how)
            for c in checks
        ],
    )


def _findings(data: TravellerData) -> str:
    rows = [
        graded(f.severity, str(f.severity)) + td(f.message) + td(f.code, code=True) + td(f.remedy)
        for f in data.graver_findings
    ]
    return table(("weight", "finding", "code", "what to do"), rows) or "<p>Nothing was found.</p>"


def _waivers(data: TravellerData) -> str:
    rows = [
        th(waiver.code, code=True) + td(waiver.message) + td(waiver.reason or "none stated")
        for waiver in data.waivers
    ]
    return table(("waived", "what it says", "reason"), rows) or "<p>Nothing was waived.</p>"


def _steps(steps: Sequence[Step]) -> str:
    items = "".join(
        f'<li><input type="checkbox" id="step-{number}"><label class="text" for="step-{number}">'
        f"{escape(step.text)}{_warning(step)}</label>"
        f'<span class="amount">{escape(step.numbers)}</span></li>'
        for number, step in enumerate(steps, start=1)
    )
    boxes = "".join(f"<div><span>{words}: initials, date</span></div>" for words in SIGN_OFF)
    return f'<ol class="steps">{items}</ol><div class="signoff">{boxes}</div>' if items else ""


def _warning(step: Step) -> str:
    return f'<span class="warn">{sign(Severity.CAUTION)}{escape(step.caution)}</span>' if step.caution else ""


def _evidence(data: TravellerData) -> str:
    rows = [
        th(f.name)
        + td(f"{f.role}: {f.what}")
        + td(value_words(f.size_bytes), "number")
        + td(f.sha256, "digest")
        for f in data.files
    ]
    listed = table(("file", "what it is", "bytes", "SHA-256"), rows)
    return listed + _pairs("setting", data.settings) + _pairs("version", data.versions)


def _pairs(heading: str, pairs: Mapping[str, object]) -> str:
    rows = [th(str(name), code=True) + td(setting_text(value), code=True) for name, value in pairs.items()]
    if not rows:
        return ""
    listed = table((heading, "value"), rows, kind="pairs")
    return f"<details><summary>{len(rows)} × {heading}</summary>{listed}</details>"


def setting_text(value: object) -> str:
    """Return a setting as text: words as they are, everything else as JSON."""
    return value if isinstance(value, str) else json.dumps(value, ensure_ascii=False, default=str)

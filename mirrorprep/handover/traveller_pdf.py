"""The traveller as PDF for the shop floor: with page numbers, tick boxes and sign-off boxes."""

import io
from collections.abc import Iterable, Mapping, Sequence
from html import escape
from itertools import zip_longest
from typing import Any, Final

from reportlab.graphics.shapes import Circle, Drawing, Line, Polygon, Rect
from reportlab.lib.colors import Color, white
from reportlab.lib.units import mm
from reportlab.platypus import (
    BaseDocTemplate,
    CondPageBreak,
    Frame,
    KeepTogether,
    PageTemplate,
    Paragraph,
    Spacer,
    Table,
)

from mirrorprep.handover.figure_text import value_words
from mirrorprep.handover.pdf_page import (
    COLORS,
    FOOT,
    HEAD,
    MARGIN,
    PAGES,
    STYLES,
    NumberedCanvas,
    prepare_writer,
)
from mirrorprep.handover.pdf_picture import FittedPicture
from mirrorprep.handover.provenance import PRODUCED_BY
from mirrorprep.handover.traveller import (
    HOLDS_WORDS,
    SIGN_OFF,
    STATE_WORDS,
    Figure,
    PageSize,
    Picture,
    Section,
    State,
    Step,
    TravellerData,
)
from mirrorprep.handover.traveller_html import setting_text
from mirrorprep.solid.finding import Severity

_STATE_COLOR: Final = {State.READY: "ready", State.CAUTIONS: "cautions", State.STOPPED: "stopped"}
_MAIN_COLUMNS: Final = 4
_LEAST_ROOM: Final = 42 * mm
_LEAST_FRONT: Final = 0.45
_CAUTIONS_ON_PAGE: Final = 3
FONT: Final = ("FONTNAME", (0, 0), (-1, -1), "Sheet")  # even empty cells name a font
Flow = list[Any]


def traveller_pdf(data: TravellerData, *, page: PageSize = "a4") -> bytes:
    """Return the traveller as a PDF file; the same data give the same bytes.

    Parameters
    ----------
    data : TravellerData
        What stands on it.
    page : {'a4', 'letter'}
        Page size.
    """
    prepare_writer()
    width = PAGES[page][0] - 2 * MARGIN
    stream = io.BytesIO()
    height = PAGES[page][1] - HEAD - FOOT
    document = BaseDocTemplate(
        stream,
        pagesize=PAGES[page],
        title=f"Traveller {data.job_code}",
        author=PRODUCED_BY,
        subject=data.cautions[0],
        creator=PRODUCED_BY,
        invariant=1,
    )
    room = Frame(MARGIN, FOOT, width, height, leftPadding=0, rightPadding=0, topPadding=0, bottomPadding=0)
    document.addPageTemplates([PageTemplate(frames=[room])])
    canvas = type(
        "SheetCanvas",
        (NumberedCanvas,),
        {"job_code": data.job_code, "cautions": data.cautions[:_CAUTIONS_ON_PAGE]},
    )
    document.build(list(_story(data, width)), canvasmaker=canvas)
    return stream.getvalue()


def _story(data: TravellerData, width: float) -> Iterable[Any]:
    yield from _card(data, width)
    yield from _verdict(data, width)
    yield from _main_figures(data.main_figures, width)
    if data.front_picture:
        yield Spacer(1, 4 * mm)
        yield FittedPicture(data.picture(data.front_picture), width, least=_LEAST_FRONT)
    yield from _titled("Steps at the bench", _steps(data.steps, width), width)
    yield from _titled("Cautions", [_words(f"•  {words}", "text") for words in data.cautions], width)
    for section in data.sections:
        yield from _section(data, section, width)
    yield from _titled("What was verified, and how", _checks(data, width), width)
    yield from _titled("Waivers and findings", _findings(data, width), width)
    for picture in data.loose_pictures:
        if picture.name != data.front_picture:
            yield from _picture(picture, width)
    yield from _titled("Evidence: files, settings, versions", _evidence(data, width), width)
    sources = [[_words(s.method, "small"), _words(s.reference, "small")] for s in data.sources]
    yield from _titled("Method sources", _grid(("method", "source"), sources, (0.42, 0.58), width), width)


def _words(text: str, style: str = "cell") -> Paragraph:
    return Paragraph(escape(text), STYLES[style])


def _titled(title: str, body: Flow, width: float) -> Flow:
    """Return a heading that stays with the first pieces of its body; nothing without a body.

    A paragraph under the heading stays too, with room for the head and some rows of the table behind it.
    """
    if not body:
        return []
    led = len(body) > 1 and isinstance(body[0], Paragraph)
    room = _LEAST_ROOM + (body[0].wrap(width, 1e6)[1] if led else 0)
    heading = Table([[_words(title, "section")]], colWidths=["100%"])
    heading.setStyle(
        [("LINEBELOW", (0, 0), (-1, -1), 1.1, COLORS["ink"]), ("LEFTPADDING", (0, 0), (-1, -1), 0)]
    )
    top = [Spacer(1, 3 * mm), heading, Spacer(1, 1.2 * mm)]
    if isinstance(body[0], Table):  # it may part at any row
        return [CondPageBreak(room), *top, *body]
    return [CondPageBreak(room), KeepTogether([*top, body[0]]), *body[1:]]


def _grid(
    headings: Sequence[str], rows: Sequence[Sequence[Any]], shares: Sequence[float], width: float
) -> Flow:
    if not rows:
        return []
    head = [_words(words, "head") for words in headings]
    table = Table([head, *rows], colWidths=[share * width for share in shares], repeatRows=1)
    table.setStyle(
        [
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            FONT,
            ("LEFTPADDING", (0, 0), (-1, -1), 0),
            ("RIGHTPADDING", (0, 0), (-1, -1), 6),
            ("TOPPADDING", (0, 0), (-1, -1), 2.5),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 3),
            ("LINEBELOW", (0, 0), (-1, -1), 0.4, COLORS["rule"]),
        ]
    )
    return [table]


def _card(data: TravellerData, width: float) -> Flow:
    cells = (
        ("job", data.job_code),
        ("purpose", data.purpose),
        ("verdict", STATE_WORDS[data.verdict.state]),
        ("produced by", PRODUCED_BY),
    )
    row = [[_words(name, "head"), _words(words, "number")] for name, words in cells]
    card = Table([[_words(data.title, "title"), "", "", ""], row], colWidths=[width / 4] * 4)
    card.setStyle(
        [
            ("SPAN", (0, 0), (-1, 0)),
            ("BOX", (0, 0), (-1, -1), 1.3, COLORS["ink"]),
            ("LINEBELOW", (0, 0), (-1, 0), 1.3, COLORS["ink"]),
            ("LINEAFTER", (0, 1), (2, 1), 0.5, COLORS["rule"]),
            ("TOPPADDING", (0, 0), (-1, 0), 6),
            ("BOTTOMPADDING", (0, 0), (-1, 0), 8),
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            FONT,
        ]
    )
    return [Spacer(1, 2 * mm), card, Spacer(1, 4 * mm)]


def _verdict(data: TravellerData, width: float) -> Flow:
    color = COLORS[_STATE_COLOR[data.verdict.state]]
    words = [
        Paragraph(
            f'<font color="{color.hexval().replace("0x", "#")}">{STATE_WORDS[data.verdict.state]}</font>',
            STYLES["verdict"],
        ),
        _words(data.verdict.sentence, "lead"),
        *[_words(f"•  {reason}", "text") for reason in data.verdict.reasons],
    ]
    box = Table([[_state_sign(data.verdict.state, color), words]], colWidths=[22 * mm, width - 22 * mm])
    box.setStyle(
        [
            ("BOX", (0, 0), (-1, -1), 1.6, color),
            ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
            FONT,
            ("ALIGN", (0, 0), (0, 0), "CENTER"),
            ("TOPPADDING", (0, 0), (-1, -1), 7),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 8),
        ]
    )
    return [box]


def _state_sign(state: State, color: Color) -> Drawing:
    drawing = Drawing(44, 44)
    look = {"strokeColor": color, "strokeWidth": 3, "fillColor": None}
    if state is State.READY:
        drawing.add(Circle(22, 22, 19, **look))
        lines = [(12, 22, 19, 15), (19, 15, 32, 29)]
    elif state is State.CAUTIONS:
        drawing.add(Polygon([22, 41, 42, 5, 2, 5], strokeLineJoin=1, **look))
        lines = [(22, 29, 22, 18), (22, 13, 22, 10)]
    else:
        drawing.add(Polygon([14, 41, 30, 41, 41, 30, 41, 14, 30, 3, 14, 3, 3, 14, 3, 30], **look))
        lines = [(12, 22, 32, 22)]
    for line in lines:
        drawing.add(Line(*line, strokeColor=color, strokeWidth=3.4))
    return drawing


def _main_figures(figures: Sequence[Figure], width: float) -> Flow:
    if not figures:
        return []
    cells: list[Any] = [
        [_words(f.label, "head"), _words(f.words, "big"), _words(f.spread_words, "small")] for f in figures
    ]
    columns = len(cells) if len(cells) <= _MAIN_COLUMNS + 1 else _MAIN_COLUMNS
    cells += [""] * (-len(cells) % columns)
    rows = [cells[start : start + columns] for start in range(0, len(cells), columns)]
    table = Table(rows, colWidths=[width / columns] * columns)
    table.setStyle(
        [
            ("BOX", (0, 0), (-1, -1), 0.6, COLORS["rule"]),
            ("INNERGRID", (0, 0), (-1, -1), 0.4, COLORS["rule"]),
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            FONT,
            ("BOTTOMPADDING", (0, 0), (-1, -1), 5),
        ]
    )
    return [table]


def _section(data: TravellerData, section: Section, width: float) -> Flow:
    body: Flow = [_words(section.lead, "lead")] if section.lead else []
    rows = [
        [_words(f.label), _words(f.words, "number"), _words(f.uncertainty_words, "faint"), _words(f.evidence)]
        for f in section.figures
    ]
    body += _grid(("", "value", "uncertainty", "how it was found"), rows, (0.24, 0.19, 0.2, 0.37), width)
    for name in section.pictures:
        if name != data.front_picture:
            body += _picture(data.picture(name), width)
    return _titled(section.title, body, width)


def _picture(picture: Picture, width: float) -> Flow:
    return [Spacer(1, 2.5 * mm), FittedPicture(picture, width), Spacer(1, 2 * mm)]


def _graded(severity: Severity | None, words: str) -> Any:  # noqa: ANN401 - a flowable
    if severity is None:
        return _words(words, "number")
    color = COLORS[str(severity)]
    sign = {Severity.NOTE: "●", Severity.CAUTION: "▲", Severity.STOP: "■"}[severity]
    hexadecimal = color.hexval().replace("0x", "#")
    return Paragraph(f'<font color="{hexadecimal}">{sign} {escape(words)}</font>', STYLES["number"])


def _checks(data: TravellerData, width: float) -> Flow:
    unsure = {True: None, False: Severity.STOP, None: Severity.CAUTION}
    rows = [
        [
            _words(c.claim),
            _graded(unsure[c.holds], HOLDS_WORDS[c.holds]),
            _words(c.measured),
            _words(c.limit),
            _words(c.how, "faint"),
        ]
        for c in data.checks
    ]
    shares = (0.3, 0.17, 0.12, 0.12, 0.29)
    return _grid(("claim", "answer", "measured", "limit", "how"), rows, shares, width)


def _findings(data: TravellerData, width: float) -> Flow:
    rows = [
        [
            _graded(f.severity, str(f.severity)),
            _words(f.message),
            _words(f.code, "code"),
            _words(f.remedy, "faint"),
        ]
        for f in data.graver_findings
    ]
    found = _grid(("weight", "finding", "code", "what to do"), rows, (0.12, 0.4, 0.18, 0.3), width)
    waived = [
        [_words(w.code, "code"), _words(w.message), _words(w.reason or "none stated", "faint")]
        for w in data.waivers
    ]
    accepted = _grid(("waived", "what it says", "reason"), waived, (0.24, 0.46, 0.3), width)
    return [
        *(accepted or [_words("Nothing was waived.", "text")]),
        Spacer(1, 2 * mm),
        *(found or [_words("Nothing was found.", "text")]),
    ]


def _steps(steps: Sequence[Step], width: float) -> Flow:
    if not steps:
        return []
    rows = []
    for number, step in enumerate(steps, start=1):
        words: Flow = [_words(step.text, "step")]
        if step.caution:
            words.append(_warning(step.caution))
        rows.append([_tick_box(), _words(str(number), "faint"), words, _words(step.numbers, "number")])
    widths = [9 * mm, 8 * mm, width - 62 * mm, 45 * mm]
    table = Table(rows, colWidths=widths)
    table.setStyle(
        [
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            FONT,
            ("LEFTPADDING", (0, 0), (-1, -1), 0),
            ("LINEBELOW", (0, 0), (-1, -1), 0.4, COLORS["rule"]),
            ("TOPPADDING", (0, 0), (-1, -1), 4),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 5),
        ]
    )
    return [table, KeepTogether([Spacer(1, 5 * mm), _sign_off(width)])]


def _warning(words: str) -> Paragraph:
    color = COLORS["caution"].hexval().replace("0x", "#")
    return Paragraph(f'<font name="Sheet-Bold" color="{color}">▲</font> {escape(words)}', STYLES["cell"])


def _tick_box() -> Drawing:
    drawing = Drawing(14, 14)
    drawing.add(Rect(1, 1, 11, 11, strokeColor=COLORS["ink"], strokeWidth=1, fillColor=white))
    return drawing


def _sign_off(width: float) -> Table:
    cells = [[_words(f"{words}: initials, date", "small"), Spacer(1, 15 * mm)] for words in SIGN_OFF]
    table = Table([cells], colWidths=[width / len(cells)] * len(cells))
    table.setStyle(
        [("GRID", (0, 0), (-1, -1), 0.9, COLORS["ink"]), ("VALIGN", (0, 0), (-1, -1), "TOP"), FONT]
    )
    return table


def _evidence(data: TravellerData, width: float) -> Flow:
    files = [
        [
            _words(f.name),
            _words(f"{f.role}: {f.what}"),
            _words(value_words(f.size_bytes)),
            _words(f.sha256, "digest"),
        ]
        for f in data.files
    ]
    flow = _grid(("file", "what it is", "bytes", "SHA-256"), files, (0.17, 0.21, 0.1, 0.52), width)
    for heading, pairs in (("setting", data.settings), ("version of", data.versions)):
        flow += [Spacer(1, 3 * mm), *_pairs(heading, pairs, width)] if pairs else []
    return flow


def _pairs(heading: str, pairs: Mapping[str, object], width: float) -> Flow:
    """Return names and values in two columns, read downwards."""
    cells = [
        [_words(str(name), "code"), _words(setting_text(value), "code")] for name, value in pairs.items()
    ]
    half = -(-len(cells) // 2)
    rows = [left + right for left, right in zip_longest(cells[:half], cells[half:], fillvalue=["", ""])]
    return _grid((heading, "value") * 2, rows, (0.24, 0.26) * 2, width)

"""The summary of a cohort: distributions, failures by finding, and a list that links to the travellers."""

import base64
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from html import escape
from typing import Final

import numpy as np

from mirrorprep import cautions
from mirrorprep.handover.html_parts import table, td, th
from mirrorprep.handover.palette import INK, PART, RULE
from mirrorprep.handover.traveller_html import page_head
from mirrorprep.units import supported_digits

_BINS: Final = 20
_WIDTH: Final = 360
_HEIGHT: Final = 120
_FOOT: Final = 22


@dataclass(frozen=True, slots=True, kw_only=True)
class CohortRow:
    """One scan of the list.

    Attributes
    ----------
    code : str
        Subject code.
    state : str
        ``done``, ``stopped``, ``failed`` or ``waiting``.
    message : str
        What stopped it.
    figures : dict
        Name to value; None where unknown.
    findings : tuple of str
        Codes of the findings.
    traveller : str
        Link to the traveller, empty when there is none.
    thumbnail : bytes
        PNG, empty when there is none.
    """

    code: str
    state: str
    message: str = ""
    figures: dict[str, float | str | None] = field(default_factory=dict)
    findings: tuple[str, ...] = ()
    traveller: str = ""
    thumbnail: bytes = field(default=b"", repr=False)


def cohort_html(rows: Sequence[CohortRow], columns: dict[str, str], *, title: str = "Cohort") -> str:
    """Return the summary page of a cohort; the same rows give the same text.

    Parameters
    ----------
    rows : sequence of CohortRow
        In the order of the list.
    columns : dict
        Figure name to heading, for the distributions and the list.
    title : str
        Heading.

    Returns
    -------
    str
        One HTML file without scripts; it links to the travellers beside it.
    """
    caution = escape(cautions.RESEARCH_ONLY)
    columns = {name: words for name, words in columns.items() if _known(rows, name).size}
    parts = [
        page_head(title),
        f'<p class="band">{caution}</p>',
        f"<main><h1>{escape(title)}</h1>",
        "<h2>States</h2>",
        table(("state", "scans"), [th(s) + td(str(n)) for s, n in _counted(row.state for row in rows)]),
        "<h2>Distributions</h2>",
        _side_by_side([_distribution(rows, name, heading) for name, heading in columns.items()]),
        "<h2>Findings</h2>",
        _findings(rows),
        "<h2>Scans</h2>",
        _list(rows, columns),
        f'</main><p class="band foot">{caution}</p>',
        "</body></html>",
    ]
    return "\n".join(parts) + "\n"


def _counted(words: Iterable[str]) -> list[tuple[str, int]]:
    return sorted(Counter(words).items(), key=lambda item: (-item[1], item[0]))


def _findings(rows: Sequence[CohortRow]) -> str:
    counts = _counted(code for row in rows for code in row.findings)
    ended = Counter(code for row in rows if row.state != "done" for code in row.findings)
    cells = [th(code) + td(str(number)) + td(str(ended[code])) for code, number in counts]
    return table(("finding", "scans", "of these not done"), cells) or "<p>None.</p>"


def _known(rows: Sequence[CohortRow], name: str) -> np.ndarray:
    found = [value for row in rows if isinstance(value := row.figures.get(name), float | int)]
    values = np.array(found, dtype=float)
    return np.asarray(values[np.isfinite(values)])


def _side_by_side(figures: Sequence[str]) -> str:
    cells = [f"<td>{figure}</td>" for figure in figures]
    rows = ["".join(cells[start : start + 2]) for start in range(0, len(cells), 2)]
    return f"<table><tbody>{''.join(f'<tr>{row}</tr>' for row in rows)}</tbody></table>" if rows else ""


def _distribution(rows: Sequence[CohortRow], name: str, heading: str) -> str:
    values = _known(rows, name)
    low, median, high = np.percentile(values, [5, 50, 95])
    words = f"median {median:.3g}, 5 % to 95 %: {low:.3g} to {high:.3g}, {len(values)} scans"
    return (
        f"<figure>{histogram_svg(values)}"
        f"<figcaption><strong>{escape(heading)}</strong> {escape(words)}</figcaption></figure>"
    )


def histogram_svg(values: np.ndarray) -> str:
    """Return a histogram as inline SVG, with the ends of its range written below.

    Examples
    --------
    >>> histogram_svg(np.array([1.0, 2.0, 2.0])).startswith("<svg")
    True
    """
    counts, edges = np.histogram(values, bins=min(_BINS, max(1, len(np.unique(values)))))
    width = _WIDTH / len(counts)
    tall = _HEIGHT / max(int(counts.max()), 1)
    bars = "".join(
        f'<rect x="{i * width + 1:.1f}" y="{_HEIGHT - n * tall:.1f}" width="{width - 2:.1f}" '
        f'height="{n * tall:.1f}" fill="{PART}"/>'
        for i, n in enumerate(counts.tolist())
    )
    line = f'<path d="M0 {_HEIGHT}h{_WIDTH}" stroke="{RULE}"/>'
    ends = "".join(
        f'<text x="{x}" y="{_HEIGHT + 15}" text-anchor="{anchor}" font-size="12" fill="{INK}">'
        f"{value:.3g}</text>"
        for x, anchor, value in ((0, "start", edges[0]), (_WIDTH, "end", edges[-1]))
    )
    return (
        f'<svg viewBox="0 0 {_WIDTH} {_HEIGHT + _FOOT}" width="{_WIDTH}" height="{_HEIGHT + _FOOT}" '
        f'role="img" aria-label="histogram">{bars}{line}{ends}</svg>'
    )


def _list(rows: Sequence[CohortRow], columns: dict[str, str]) -> str:
    cells = []
    for row in rows:
        shown = "".join(td(_words(row.figures.get(name))) for name in columns)
        cells.append(_linked(row) + td(row.state, "strong") + shown + td(row.message))
    return table(("", "state", *columns.values(), "stopped by"), cells)


def _linked(row: CohortRow) -> str:
    words = escape(row.code)
    if row.thumbnail:
        data = base64.b64encode(row.thumbnail).decode("ascii")
        words = f'<img src="data:image/png;base64,{data}" alt="" width="60" height="60"> {words}'
    if row.traveller:
        words = f'<a href="{escape(row.traveller)}">{words}</a>'
    return f'<th scope="row">{words}</th>'


def _words(value: float | str | None) -> str:
    if value is None:
        return "unknown"
    return value if isinstance(value, str) else supported_digits(float(value), None)

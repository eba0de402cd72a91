"""The summary of a cohort: its parts at a glance, distributions, what stopped scans, and the whole list."""

import base64
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from html import escape
from typing import Final

import numpy as np

from mirrorprep import cautions
from mirrorprep.handover.histogram import histogram_svg
from mirrorprep.handover.html_parts import sign, table, td, th
from mirrorprep.handover.traveller_html import page_head
from mirrorprep.solid.finding import Severity
from mirrorprep.units import supported_digits

_STATE_SIGNS: Final = {"stopped": Severity.CAUTION, "failed": Severity.STOP}
_MOST_NAMED: Final = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class CohortColumn:
    """A figure of every scan.

    Attributes
    ----------
    name : str
        Its name in `CohortRow.figures`.
    heading : str
        In words.
    unit : str
        Its unit.
    step : float
        What is shown as zero when it is smaller, and the least width of a bin.
    """

    name: str
    heading: str
    unit: str
    step: float


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


def cohort_html(rows: Sequence[CohortRow], columns: Sequence[CohortColumn], *, title: str = "Cohort") -> str:
    """Return the summary page of a cohort; the same rows give the same text.

    Parameters
    ----------
    rows : sequence of CohortRow
        In the order of the list.
    columns : sequence of CohortColumn
        For the distributions and the list; one that no scan has a value of is left out.
    title : str
        Heading.

    Returns
    -------
    str
        One HTML file without scripts; it links to the travellers beside it.
    """
    caution = escape(cautions.RESEARCH_ONLY)
    shown = [column for column in columns if _known(rows, column.name).size]
    sections = {
        "At a glance": _glance(rows),
        "Distributions": _distributions(rows, shown),
        "What ended scans early": _ended(rows),
        "Findings": _findings(rows),
        "All scans": _list(rows, shown),
    }
    body = [f"<section><h2>{name}</h2>{text}</section>" for name, text in sections.items() if text]
    parts = [
        page_head(title),
        f'<p class="band">{caution}</p>',
        f"<main>{_heading(rows, title)}",
        *body,
        f'</main><p class="band foot">{caution}</p>',
        "</body></html>",
    ]
    return "\n".join(parts) + "\n"


def _heading(rows: Sequence[CohortRow], title: str) -> str:
    states = [row.state for row in rows]
    counts = {"scans": len(rows), **{s: states.count(s) for s in ("done", "stopped", "failed", "waiting")}}
    cells = "".join(
        f"<div><dt>{name}</dt><dd>{number}</dd></div>"
        for name, number in counts.items()
        if number or name == "done"
    )
    return (
        f'<header class="card"><div class="title"><h1>{escape(title)}</h1>'
        '<p>Every figure stands in <a href="cohort.csv">cohort.csv</a>, one row a scan.</p></div>'
        f"<dl>{cells}</dl></header>"
    )


def _glance(rows: Sequence[CohortRow]) -> str:
    """Return the parts side by side, each a link to its traveller; scans that ended early with their sign."""
    tiles = []
    for row in rows:
        image = _image(row) or f'<span class="blank">{_mark(row.state)}</span>'
        words = f"{image}<span>{escape(row.code)}</span>"
        tiles.append(
            f'<li><a href="{escape(row.traveller)}">{words}</a></li>'
            if row.traveller
            else f"<li>{words}</li>"
        )
    return f'<ul class="tiles">{"".join(tiles)}</ul>'


def _image(row: CohortRow) -> str:
    if not row.thumbnail:
        return ""
    data = base64.b64encode(row.thumbnail).decode("ascii")
    return f'<img src="data:image/png;base64,{data}" alt="" width="96" height="96">'


def _mark(state: str) -> str:
    severity = _STATE_SIGNS.get(state)
    mark = f'<span class="{severity}">{sign(severity)}</span>' if severity else ""
    return f'<span class="state">{mark}{escape(state)}</span>'


def _known(rows: Sequence[CohortRow], name: str) -> np.ndarray:
    found = [value for row in rows if isinstance(value := row.figures.get(name), float | int)]
    values = np.array(found, dtype=float)
    return np.asarray(values[np.isfinite(values)])


def _distributions(rows: Sequence[CohortRow], columns: Sequence[CohortColumn]) -> str:
    figures = "".join(_distribution(_known(rows, column.name), column) for column in columns)
    return figures and f'<div class="charts">{figures}</div>'


def _distribution(values: np.ndarray, column: CohortColumn) -> str:
    low, median, high = (_digits(v, column) for v in np.percentile(values, [5, 50, 95]))
    name = f"{column.heading}, {column.unit}"
    words = f"median {median} (line), 5 % to 95 %: {low} to {high}; {len(values)} scans"
    return (
        f"<figure>{histogram_svg(values, label=escape(name), step=column.step)}"
        f"<figcaption><strong>{escape(name)}</strong><br>{escape(words)}</figcaption></figure>"
    )


def _ended(rows: Sequence[CohortRow]) -> str:
    """Return what kept scans from the end, the most frequent first."""
    reasons: dict[tuple[str, str], list[str]] = defaultdict(list)
    for row in rows:
        if row.state in _STATE_SIGNS:
            reason = row.message.partition(":")[0] if row.state == "stopped" else row.message
            reasons[row.state, reason].append(row.code)
    cells = []
    for (state, reason), codes in sorted(reasons.items(), key=lambda item: (-len(item[1]), item[0])):
        named = ", ".join(codes[:_MOST_NAMED]) + (" …" if len(codes) > _MOST_NAMED else "")
        cells.append(
            f'<th scope="row">{_mark(state)}</th>{td(reason)}{td(str(len(codes)), "number")}{td(named)}'
        )
    return table(("state", "reason", "scans", "which"), cells)


def _findings(rows: Sequence[CohortRow]) -> str:
    met: dict[str, list[str]] = defaultdict(list)
    for row in rows:
        for code in row.findings:
            met[code].append(row.state)
    cells = [
        f"{th(code)}{td(str(len(states)), 'number')}<td>{_bar(len(states) / len(rows))}</td>"
        f"{td(str(len(states) - states.count('done')), 'number')}"
        for code, states in sorted(met.items(), key=lambda item: (-len(item[1]), item[0]))
    ]
    return table(("finding", "scans", "share of all", "of these not done"), cells)


def _bar(share: float) -> str:
    bars = f'<rect width="100" height="8" class="rest"/><rect width="{100 * share:.1f}" height="8"/>'
    look = 'class="bar" viewBox="0 0 100 8" preserveAspectRatio="none"'
    return f'<svg {look} role="img" aria-label="{share:.0%}">{bars}</svg> {share:.0%}'


def _list(rows: Sequence[CohortRow], columns: Sequence[CohortColumn]) -> str:
    cells = []
    for row in rows:
        code = escape(row.code)
        linked = f'<a class="state" href="{escape(row.traveller)}">{code}</a>' if row.traveller else code
        shown = "".join(td(_words(row.figures.get(column.name), column), "number") for column in columns)
        cells.append(f'<th scope="row">{linked}</th><td>{_mark(row.state)}</td>{shown}{td(row.message)}')
    names = (f"{column.heading}, {column.unit}" for column in columns)
    return table(("code", "state", *names, "ended by"), cells)


def _words(value: float | str | None, column: CohortColumn) -> str:
    if value is None:
        return "–"
    return value if isinstance(value, str) else _digits(float(value), column)


def _digits(value: float, column: CohortColumn) -> str:
    return "0" if abs(value) < column.step else supported_digits(float(value), None)

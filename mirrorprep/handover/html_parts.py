"""Small pieces of HTML: cells, tables, lists and signs. Everything that comes in as text is escaped."""

from collections.abc import Sequence
from html import escape
from typing import Final

from mirrorprep.solid.finding import Severity

SEVERITY_SHAPE: Final = {
    Severity.NOTE: '<circle cx="8" cy="8" r="6.5"/>',
    Severity.CAUTION: '<path d="M8 1.5l7 13H1z"/>',
    Severity.STOP: '<path d="M5 1h6l4 4v6l-4 4H5l-4-4V5z"/>',
}


def th(words: str, *, code: bool = False) -> str:
    """Return the heading cell of a row."""
    return f'<th scope="row">{_coded(words, code=code)}</th>'


def td(words: str, kind: str = "", *, code: bool = False) -> str:
    """Return a cell of a class."""
    look = f' class="{kind}"' if kind else ""
    return f"<td{look}>{_coded(words, code=code)}</td>"


def _coded(words: str, *, code: bool) -> str:
    return f"<code>{escape(words)}</code>" if code else escape(words)


def graded(severity: Severity | None, words: str) -> str:
    """Return a cell with a severity's sign before the words: a shape, a colour and a word."""
    if severity is None:
        return td(words, "strong")
    return f'<td class="strong {severity}">{sign(severity)}{escape(words)}</td>'


def sign(severity: Severity) -> str:
    """Return a severity's shape: disc, triangle or octagon."""
    shape = SEVERITY_SHAPE[severity]
    return f'<svg class="sign" viewBox="0 0 16 16" fill="currentColor" aria-hidden="true">{shape}</svg>'


def table(headings: Sequence[str], rows: Sequence[str], *, kind: str = "") -> str:
    """Return a table of rows made of cells, or nothing when there are none."""
    if not rows:
        return ""
    head = "".join(f'<th scope="col">{escape(words)}</th>' if words else "<td></td>" for words in headings)
    body = "".join(f"<tr>{row}</tr>" for row in rows)
    look = f' class="{kind}"' if kind else ""
    return f'<div class="wide"><table{look}><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>'


def bullets(words: Sequence[str], kind: str = "") -> str:
    """Return a bulleted list, or nothing when there are no words."""
    look = f' class="{kind}"' if kind else ""
    return f"<ul{look}>{''.join(f'<li>{escape(item)}</li>' for item in words)}</ul>" if words else ""

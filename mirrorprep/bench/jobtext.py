"""Changing entries in the text of a job file, so that the comments and the order of its writer stay."""

import re
import tomllib
from collections.abc import Mapping
from typing import Any, Final

from mirrorprep.errors import JobFileError
from mirrorprep.job.jobfile import job_from, template, toml_value

Changes = Mapping[str, object]
"""New values by full name, such as ``mould.wall_mm``; None takes the entry out."""

_TABLE: Final = re.compile(r"\s*\[\s*([A-Za-z_]+)\s*\]\s*(#.*)?$")
_COMMENT: Final = re.compile(r'^(?:[^"#]|"(?:[^"\\]|\\.)*")*?(\s*#.*)?$')
_COMMENT_COLUMN: Final = 34


def tables_of(text: str) -> dict[str, Any]:
    """Return the tables that a job file states.

    Raises
    ------
    JobFileError
        If the text is not TOML.
    """
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise JobFileError(f"The job file is not TOML: {error}.", remedy="See 'mirrorprep new'.") from None


def changed(tables: Mapping[str, Any], changes: Changes) -> dict[str, Any]:
    """Return tables with some entries changed.

    Raises
    ------
    JobFileError
        If a name has not the form ``table.entry``, or `tables` is not made of tables.
    """
    result = {name: dict(table) if isinstance(table, Mapping) else table for name, table in tables.items()}
    for name, value in changes.items():
        table, dot, entry = name.partition(".")
        if not (dot and table and entry):
            raise JobFileError(f"'{name}' names no entry.", remedy="Write it as table.entry.")
        place = result.setdefault(table, {})
        if not isinstance(place, dict):
            raise JobFileError(f"'{table}' is not a table.", remedy=f"Write [{table}] on a line of its own.")
        if value is None:
            place.pop(entry, None)
        else:
            place[entry] = value
    return {name: table for name, table in result.items() if table or name in tables}


def edited(text: str, changes: Changes) -> str:
    r"""Return the text of a job file with some entries changed.

    Each entry's own line is rewritten, and its comment stays. Where that does not give the tables it should
    (an entry over several lines, dotted names), the whole file is written anew from the template.

    Raises
    ------
    JobFileError
        If the text is not TOML, or a name or value is wrong.

    Examples
    --------
    >>> edited("[mould]\nwall_mm = 6.0  # least wall\n", {"mould.wall_mm": 8.0})
    '[mould]\nwall_mm = 8.0                      # least wall\n'
    """
    wanted = changed(tables_of(text), changes)
    job = job_from(wanted)
    lines = text.splitlines()
    for name, value in changes.items():
        table, _, entry = name.partition(".")
        _set_line(lines, table, entry, value)
    result = "\n".join(lines) + "\n"
    return result if _gives(result, wanted) else template(job)


def _gives(text: str, wanted: Mapping[str, Any]) -> bool:
    try:
        found = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return False
    return {name: table for name, table in found.items() if table} == {
        name: table for name, table in wanted.items() if table
    }


def _set_line(lines: list[str], table: str, entry: str, value: object) -> None:
    """Rewrite, comment out or add the line of one entry, in place."""
    start, stop = _section(lines, table)
    stated = re.compile(rf"\s*{re.escape(entry)}\s*=")
    quiet = re.compile(rf"\s*#\s*{re.escape(entry)}\s*=")
    place = next((n for n in range(start, stop) if stated.match(lines[n])), None)
    if place is None:
        place = next((n for n in range(start, stop) if quiet.match(lines[n])), None)
    if value is None:
        if place is not None:
            lines[place] = _line(f"# {entry} =", _comment_of(lines[place]))
        return
    words = f"{entry} = {toml_value(value)}"
    if place is not None:
        lines[place] = _line(words, _comment_of(lines[place]))
    else:
        lines.insert(_end_of(lines, start, stop), words)


def _section(lines: list[str], table: str) -> tuple[int, int]:
    """Return the lines of a table, without its heading; the heading is added when it is absent."""
    heads = [(n, match[1]) for n, line in enumerate(lines) if (match := _TABLE.match(line))]
    start = next((n for n, name in heads if name == table), None)
    if start is None:
        lines += ["", f"[{table}]"]
        return len(lines), len(lines)
    return start + 1, next((n for n, _ in heads if n > start), len(lines))


def _end_of(lines: list[str], start: int, stop: int) -> int:
    while stop > start and not lines[stop - 1].strip():
        stop -= 1
    return stop


def _comment_of(line: str) -> str:
    """Return the comment behind an entry, whether that is stated or commented out."""
    body = line.lstrip()
    match = _COMMENT.match(body.removeprefix("#"))
    return (match[1] or "").strip() if match else ""


def _line(words: str, comment: str) -> str:
    return f"{words:<{_COMMENT_COLUMN}} {comment}" if comment else words

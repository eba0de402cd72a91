"""Reading a job file (TOML), with a hint at every slip."""

import re
import tomllib
from collections.abc import Mapping
from dataclasses import fields
from difflib import get_close_matches
from pathlib import Path
from types import NoneType, UnionType
from typing import Any, Final, Literal, get_args, get_origin, get_type_hints

from mirrorprep import cautions
from mirrorprep.errors import JobFileError
from mirrorprep.job import tables
from mirrorprep.job.tables import PURPOSES, Job

_CODE: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9-]{0,31}")
_LARGEST_BYTES: Final = 1 << 20
_COMMENT_COLUMN: Final = 34
_KINDS: Final[dict[type, str]] = {
    str: "a text in quotes",
    bool: "true or false",
    int: "a whole number",
    float: "a number",
    tuple: "a list",
}


def read_job(path: str | Path) -> Job:
    """Read and check a job file.

    Parameters
    ----------
    path : path-like
        A TOML file as ``mirrorprep new`` writes it.

    Returns
    -------
    Job
        Every table with its defaults filled in.

    Raises
    ------
    JobFileError
        If the file cannot be read, a name is unknown (the nearest known one is offered), a value has the
        wrong kind or range, or purpose, consent or subject code are missing.
    """
    file = Path(path)
    try:
        if file.stat().st_size > _LARGEST_BYTES:
            raise JobFileError(f"'{file}' is too large for a job file.", remedy="Name the TOML file.")
        values = tomllib.loads(file.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise JobFileError(f"'{file}' is not TOML: {error}.", remedy="See 'mirrorprep new'.") from None
    except OSError as error:
        reason = (error.strerror or "unreadable").lower()
        raise JobFileError(f"'{file}' cannot be read: {reason}.", remedy="Name a job file.") from None
    return check_job(job_from(values))


def job_from(values: Mapping[str, Any]) -> Job:
    """Return the job of plain tables, each value checked for kind and range.

    Raises
    ------
    JobFileError
        For an unknown name or a wrong value.

    Examples
    --------
    >>> job_from({"mould": {"wall_mm": 8}}).mould.wall_mm
    8.0
    """
    hints = get_type_hints(Job)
    _refuse_unknown(values, hints, "table")
    return Job(**{name: _table(hints[name], name, table) for name, table in values.items()})


def _table(kind: type, name: str, values: object) -> Any:  # noqa: ANN401 - one of the tables
    if not isinstance(values, Mapping):
        raise JobFileError(f"'{name}' is not a table.", remedy=f"Write [{name}] on a line of its own.")
    hints = get_type_hints(kind)
    _refuse_unknown(values, hints, f"entry of [{name}]")
    limits = {item.name: item.metadata for item in fields(kind)}
    return kind(
        **{key: _value(f"{name}.{key}", value, hints[key], limits[key]) for key, value in values.items()}
    )


def _refuse_unknown(values: Mapping[str, Any], known: Mapping[str, Any], what: str) -> None:
    for name in values:
        if name not in known:
            near = get_close_matches(name, list(known), n=1, cutoff=0.0)
            raise JobFileError(f"'{name}' is no {what}.", remedy=f"Did you mean '{near[0]}'?")


def _value(name: str, value: object, hint: Any, limits: Mapping[str, Any]) -> object:  # noqa: ANN401
    if get_origin(hint) is Literal:
        return _choice(name, value, get_args(hint))
    if isinstance(hint, UnionType):
        hint = next(kind for kind in get_args(hint) if kind is not NoneType)
    if get_origin(hint) is tuple:
        return _items(name, value, get_args(hint))
    if hint is float and isinstance(value, int) and not isinstance(value, bool):
        value = float(value)
    if type(value) is not hint:
        raise JobFileError(f"{name} is {value!r}, not {_KINDS[hint]}.", remedy="Correct the value.")
    return _in_range(name, value, limits)


def _choice(name: str, value: object, choices: tuple[Any, ...]) -> object:
    if value in choices:
        return value
    near = get_close_matches(str(value), [c for c in choices if c], n=1, cutoff=0.3)
    hint = f" Did you mean '{near[0]}'?" if near else ""
    allowed = ", ".join(f'"{choice}"' for choice in choices)
    raise JobFileError(f"{name} is {value!r}.", remedy=f"Use one of {allowed}.{hint}")


def _items(name: str, value: object, kinds: tuple[Any, ...]) -> tuple[object, ...]:
    texts = kinds[-1] is Ellipsis
    if not isinstance(value, list) or (not texts and len(value) != len(kinds)):
        wanted = "a list of texts" if texts else f"a list of {len(kinds)} numbers"
        raise JobFileError(f"{name} is {value!r}, not {wanted}.", remedy="Correct the value.")
    return tuple(_value(f"{name}[{place}]", item, kinds[0], {}) for place, item in enumerate(value))


def _in_range(name: str, value: object, limits: Mapping[str, Any]) -> object:
    low, high = limits.get("low"), limits.get("high")
    if low is None or high is None or not isinstance(value, int | float):
        return value
    if not low <= value <= high:
        raise JobFileError(f"{name} is {value:g}.", remedy=f"Give a value from {low:g} to {high:g}.")
    return value


def check_job(job: Job) -> Job:
    """Refuse a job whose purpose, consent, subject code or scan is missing; return it otherwise.

    Raises
    ------
    JobFileError
        With what is missing and where to turn.
    """
    if job.job.purpose.strip().lower() == "clinical":
        raise JobFileError(
            "The purpose 'clinical' is refused: this tool is for research, teaching and demonstration only.",
            remedy="Clinical work belongs to a licensed practitioner and needs regulatory approval.",
        )
    if job.job.purpose not in PURPOSES:
        raise JobFileError(
            f"job.purpose is '{job.job.purpose}'.", remedy=f"State one of {', '.join(PURPOSES)}."
        )
    if not _CODE.fullmatch(job.job.code):
        raise JobFileError(
            f"job.code is '{job.job.code}'.",
            remedy="Give a subject code of letters, digits and hyphens, never a name.",
        )
    if job.job.human_data is None:
        raise JobFileError(
            "job.human_data is not stated.", remedy="State whether any scan shows a person: true or false."
        )
    if job.job.human_data and job.job.consent != "recorded":
        raise JobFileError(
            "The scan shows a person and no consent is recorded.",
            remedy='Record the consent, then set job.consent = "recorded".',
        )
    if not job.scan.file:
        raise JobFileError("scan.file is not stated.", remedy="Name the scan.")
    return job


def template(job: Job | None = None) -> str:
    """Return a commented job file: every entry with its meaning, commented out where it has no value.

    Examples
    --------
    >>> "[scan]" in template()
    True
    """
    shown = Job() if job is None else job
    lines = [f"# A mirrorprep job. {cautions.RESEARCH_ONLY}", ""]
    for name, kind in get_type_hints(Job).items():
        doc = (kind.__doc__ or "").strip()
        lines += [f"[{name}]", f"# {doc}"]
        for item in fields(kind):
            value = getattr(getattr(shown, name), item.name)
            lines.append(f"{_assignment(item.name, value):<{_COMMENT_COLUMN}} # {tables.text_of(item)}")
        lines.append("")
    return "\n".join(lines)


def _assignment(name: str, value: object) -> str:
    if value is None:
        return f"# {name} ="
    return f"{name} = {toml_value(value)}"


def toml_value(value: object) -> str:
    """Return a plain value as a job file writes it.

    Raises
    ------
    JobFileError
        If a job file cannot hold it.

    Examples
    --------
    >>> toml_value(["a", 1.5, True])
    '["a", 1.5, true]'
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return '"' + "".join(_escaped(letter) for letter in value) + '"'
    if isinstance(value, list | tuple):
        return f"[{', '.join(toml_value(item) for item in value)}]"
    if isinstance(value, int | float):
        return repr(value)
    raise JobFileError(f"{value!r} is no value of a job file.", remedy="Give a text, number, flag or list.")


def _escaped(letter: str) -> str:
    if letter in '"\\':
        return f"\\{letter}"
    return letter if letter >= " " and letter != "\x7f" else f"\\u{ord(letter):04x}"

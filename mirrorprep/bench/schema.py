"""What the page needs to know of the job file's entries, of materials, units and cautions."""

from dataclasses import Field, fields
from types import NoneType, UnionType
from typing import Any, Final, Literal, get_args, get_origin, get_type_hints

import mirrorprep
from mirrorprep import cautions
from mirrorprep.bench.guard import MOST_SCAN_BYTES
from mirrorprep.bench.plain import plain
from mirrorprep.bench.steps import STEPS
from mirrorprep.intake.registry import FORMATS
from mirrorprep.job.stages import FILES
from mirrorprep.job.tables import PURPOSES, Job, text_of
from mirrorprep.pour.materials import GENERIC
from mirrorprep.units import MM_PER_UNIT

_KINDS: Final[dict[Any, str]] = {str: "text", bool: "flag", int: "whole", float: "number"}


def bench_schema() -> dict[str, Any]:
    """Return every entry of the job file with its words, kind, limits and default, and the fixed lists.

    Examples
    --------
    >>> bench_schema()["tables"]["mould"]["entries"]["wall_mm"]["kind"]
    'number'
    """
    return {
        "tables": {name: _table(name, kind) for name, kind in get_type_hints(Job).items()},
        "materials": [material.name for material in GENERIC],
        "units": list(MM_PER_UNIT),
        "caution": cautions.RESEARCH_ONLY,
        "cautions": list(cautions.ALL),
        "version": mirrorprep.__version__,
        "steps": [{"name": step.name, "title": step.title} for step in STEPS],
        "upload_bytes": MOST_SCAN_BYTES,
        "suffixes": sorted(suffix for entry in FORMATS.values() for suffix in entry.suffixes),
    }


def _table(name: str, kind: Any) -> dict[str, Any]:  # noqa: ANN401 - one of the tables
    hints = get_type_hints(kind)
    entries = {item.name: _entry(f"{name}.{item.name}", item, hints[item.name]) for item in fields(kind)}
    return {"text": (kind.__doc__ or "").strip(), "entries": entries}


def _entry(name: str, item: "Field[Any]", hint: Any) -> dict[str, Any]:  # noqa: ANN401 - a type hint
    kind, choices, optional = _kind(hint)
    if name == "job.purpose":
        kind, choices = "choice", list(PURPOSES)
    return {
        "text": text_of(item),
        "kind": kind,
        "choices": choices,
        "low": item.metadata.get("low"),
        "high": item.metadata.get("high"),
        "default": plain(item.default),
        "optional": optional,
        "file": name in FILES,
    }


def _kind(hint: Any) -> tuple[str, list[Any], bool]:  # noqa: ANN401 - a type hint
    """Return kind, choices and whether there may be no value."""
    if isinstance(hint, UnionType):
        inner = next(kind for kind in get_args(hint) if kind is not NoneType)
        return (*_kind(inner)[:2], True)
    if get_origin(hint) is Literal:
        return "choice", list(get_args(hint)), False
    if get_origin(hint) is tuple:
        return "texts" if get_args(hint)[-1] is Ellipsis else "triple", [], False
    return _KINDS[hint], [], False

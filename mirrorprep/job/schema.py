"""JSON schema of the job file, from the same tables that read it."""

from dataclasses import fields
from types import NoneType, UnionType
from typing import Any, Final, Literal, get_args, get_origin, get_type_hints

from mirrorprep.job.tables import PURPOSES, Job, text_of

_TYPES: Final[dict[Any, str]] = {str: "string", bool: "boolean", int: "integer", float: "number"}
_REQUIRED: Final = {"job": ["code", "purpose", "human_data"], "scan": ["file"]}


def job_schema() -> dict[str, Any]:
    """Return the schema (JSON Schema draft 2020-12) of a job file.

    Examples
    --------
    >>> job_schema()["required"]
    ['job', 'scan']
    """
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "mirrorprep job",
        "type": "object",
        "additionalProperties": False,
        "required": list(_REQUIRED),
        "properties": {name: _table(name, kind) for name, kind in get_type_hints(Job).items()},
    }


def _table(name: str, kind: Any) -> dict[str, Any]:  # noqa: ANN401 - a dataclass
    hints = get_type_hints(kind)
    properties = {}
    for item in fields(kind):
        limits = {
            word: item.metadata[key]
            for key, word in (("low", "minimum"), ("high", "maximum"))
            if key in item.metadata
        }
        properties[item.name] = {"description": text_of(item), **_kind(hints[item.name]), **limits}
    if name == "job":
        properties["purpose"]["enum"] = list(PURPOSES)
    table = {
        "type": "object",
        "description": (kind.__doc__ or "").strip(),
        "additionalProperties": False,
        "properties": properties,
    }
    return table | ({"required": _REQUIRED[name]} if name in _REQUIRED else {})


def _kind(hint: Any) -> dict[str, Any]:  # noqa: ANN401 - a type hint
    if get_origin(hint) is Literal:
        return {"type": "string", "enum": list(get_args(hint))}
    if isinstance(hint, UnionType):
        return _kind(next(kind for kind in get_args(hint) if kind is not NoneType))
    if get_origin(hint) is tuple:
        kinds = get_args(hint)
        items = {"type": "array", "items": _kind(kinds[0])}
        return items if kinds[-1] is Ellipsis else {**items, "minItems": len(kinds), "maxItems": len(kinds)}
    return {"type": _TYPES[hint]}

"""Plain data that every JSON reader takes: no number that is not finite, no tuple, no enumeration."""

import json
import math
from collections.abc import Mapping
from enum import Enum


def plain(value: object) -> object:
    """Return data for JSON; a number that is not finite becomes None.

    Examples
    --------
    >>> plain({"a": (1.0, float("nan"))})
    {'a': [1.0, None]}
    """
    if isinstance(value, Enum):
        return plain(value.value)
    if isinstance(value, Mapping):
        return {str(name): plain(item) for name, item in value.items()}
    if isinstance(value, list | tuple | set | frozenset):
        return [plain(item) for item in value]
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    return value


def as_json(value: object) -> bytes:
    """Return data as JSON text in UTF-8."""
    return json.dumps(plain(value), allow_nan=False, separators=(",", ":")).encode("utf-8")

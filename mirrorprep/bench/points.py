"""Places picked on the page, written in the open text forms that landmarks and loops are read from."""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final

from mirrorprep.bench.jobtext import Changes
from mirrorprep.errors import UsageError

_MOST: Final = 2000
_LEAST_LOOP: Final = 3
_REMEDY: Final = "Pick the places again."


@dataclass(frozen=True, slots=True, kw_only=True)
class PickKind:
    """A file of picked places: its name, the entry that names it, and what else is set with it or without."""

    file: str
    entry: str
    also: Changes
    without: Changes


KINDS: Final[Mapping[str, PickKind]] = {
    "landmarks": PickKind(file="landmarks.txt", entry="plane.landmarks", also={}, without={}),
    "donor_landmarks": PickKind(
        file="donor_landmarks.txt", entry="seating.donor_landmarks", also={}, without={}
    ),
    "recipient_landmarks": PickKind(
        file="recipient_landmarks.txt", entry="seating.recipient_landmarks", also={}, without={}
    ),
    "loop": PickKind(
        file="loop.txt",
        entry="seating.loop",
        also={"seating.select": "loop"},
        without={"seating.select": "auto"},
    ),
}


def kind_named(name: str) -> PickKind:
    """Return a kind.

    Raises
    ------
    UsageError
        If there is none of that name.
    """
    if name not in KINDS:
        raise UsageError(f"'{name}' is no kind of picked places.", remedy=f"Use one of {', '.join(KINDS)}.")
    return KINDS[name]


def text_of_picks(kind: str, data: Mapping[str, Any]) -> str:
    r"""Return picked places as the text of a file, empty when there are none.

    Raises
    ------
    UsageError
        If they have another form.

    Examples
    --------
    >>> text_of_picks("landmarks", {"midline": [[0, 1.5, 2]], "pairs": [[[-1, 0, 0], [1, 0, 0]]]})
    'midline m1 0.0 1.5 2.0\nleft p1 -1.0 0.0 0.0\nright p1 1.0 0.0 0.0\n'
    """
    lines = _loop(data) if kind == "loop" else _landmarks(data)
    return "".join(f"{line}\n" for line in lines)


def _landmarks(data: Mapping[str, Any]) -> list[str]:
    midline = _points(data.get("midline", []))
    sides = {side: _points(data.get(side, [])) for side in ("left", "right")}
    pairs = data.get("pairs", [])
    if not isinstance(pairs, list) or not all(isinstance(pair, list) and len(pair) == 2 for pair in pairs):
        raise UsageError("The picked pairs are not lists of two places.", remedy=_REMEDY)
    lines = [f"midline m{number} {words}" for number, words in enumerate(midline, start=1)]
    for number, pair in enumerate(pairs, start=1):
        left, right = _points(pair)
        lines += [f"left p{number} {left}", f"right p{number} {right}"]
    for side, points in sides.items():
        lines += [f"{side} s{number} {words}" for number, words in enumerate(points, start=1)]
    return lines


def _loop(data: Mapping[str, Any]) -> list[str]:
    points = _points(data.get("points", []))
    if points and len(set(points)) < _LEAST_LOOP:
        raise UsageError(
            f"The loop has {len(points)} points, not at least {_LEAST_LOOP}.", remedy="Pick more points."
        )
    return points if not points or points[0] == points[-1] else [*points, points[0]]


def _points(values: object) -> list[str]:
    """Return each point as three numbers that read back exactly."""
    if not isinstance(values, list) or len(values) > _MOST:
        raise UsageError(f"The picked places are no list of at most {_MOST} points.", remedy=_REMEDY)
    return [" ".join(repr(number) for number in _numbers(point)) for point in values]


def _numbers(point: object) -> Iterable[float]:
    wanted = isinstance(point, list) and len(point) == 3
    numbers = [float(x) for x in point if _is_number(x)] if isinstance(point, list) and wanted else []
    if len(numbers) != 3:
        raise UsageError("A picked place is not three finite numbers.", remedy=_REMEDY)
    return numbers


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)

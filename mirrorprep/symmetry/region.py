"""The part of a scan that the mirror-plane search may use.

A region file is JSON or plain text. Each entry says ``use`` or ``leave-out`` and a shape; without any
``use`` entry the whole scan is used. JSON::

    {"use": [{"box": [-90, -80, -120, 90, 110, 120]}],
     "leave-out": [{"sphere": [82, -20, -30, 45]}, {"faces": [4, 5, 6]}, {"vertices": [17]}]}

Plain text, one entry a line, ``#`` starts a comment::

    use        box      -90 -80 -120  90 110 120
    leave-out  sphere    82 -20 -30   45
    leave-out  faces      4 5 6

A box is given by two opposite corners, a sphere by its centre and radius, all in mm; faces and vertices by
their numbers, counted from 0. A face belongs to a box or sphere when its centroid does, and to a list of
vertices when one of its corners does.
"""

import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from mirrorprep.errors import InputFileError, UsageError
from mirrorprep.solid.mesh import ScanMesh

BoolArray = NDArray[np.bool_]

_NUMBERS = {"box": 6, "sphere": 4}
_SHAPES = ("box", "sphere", "faces", "vertices")
_ACTIONS = ("use", "leave-out")
_REMEDY = "Write entries such as 'leave-out sphere 82 -20 -30 45' (centre and radius in mm)."


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One shape of a region.

    Attributes
    ----------
    action : str
        ``use`` or ``leave-out``.
    shape : str
        ``box``, ``sphere``, ``faces`` or ``vertices``.
    numbers : tuple of float
        Two corners; centre and radius; or face or vertex numbers.
    """

    action: str
    shape: str
    numbers: tuple[float, ...]

    def __post_init__(self) -> None:
        if self.action not in _ACTIONS:
            raise UsageError(f"'{self.action}' is neither 'use' nor 'leave-out'.", remedy=_REMEDY)
        if self.shape not in _SHAPES:
            raise UsageError(f"'{self.shape}' is not a region shape.", remedy=f"Use {', '.join(_SHAPES)}.")
        need = _NUMBERS.get(self.shape)
        if need is not None and len(self.numbers) != need:
            raise UsageError(f"A {self.shape} has {len(self.numbers)} numbers, not {need}.", remedy=_REMEDY)
        if not np.isfinite(self.numbers).all():
            raise UsageError(f"A {self.shape} holds a number that is not finite.", remedy=_REMEDY)
        if self.shape == "sphere" and not self.numbers[3] > 0.0:
            raise UsageError(f"A sphere has radius {self.numbers[3]:g} mm.", remedy="Give a positive radius.")

    def faces(self, mesh: ScanMesh) -> BoolArray:
        """Return which faces of the mesh lie in the shape, shape (m,)."""
        numbers = np.array(self.numbers, dtype=np.float64)
        if self.shape in ("faces", "vertices"):
            return self._listed(mesh, numbers)
        centroids = mesh.triangles.mean(axis=1)
        if self.shape == "box":
            low, high = np.minimum(numbers[:3], numbers[3:]), np.maximum(numbers[:3], numbers[3:])
            return np.asarray(((centroids >= low) & (centroids <= high)).all(axis=1))
        return np.asarray(((centroids - numbers[:3]) ** 2).sum(axis=1) <= numbers[3] ** 2)

    def _listed(self, mesh: ScanMesh, numbers: NDArray[np.float64]) -> BoolArray:
        count = len(mesh.faces) if self.shape == "faces" else len(mesh.vertices)
        index = numbers.astype(np.int64)
        if (index != numbers).any() or (index < 0).any() or (index >= count).any():
            raise UsageError(
                f"The region lists {self.shape} outside 0 to {count - 1}.",
                remedy="Make the list from the same scan file.",
            )
        listed = np.zeros(count, dtype=bool)
        listed[index] = True
        return listed if self.shape == "faces" else np.asarray(listed[mesh.faces].any(axis=1))


@dataclass(frozen=True, slots=True, kw_only=True)
class Region:
    """What to use of a scan and what to leave out.

    Examples
    --------
    >>> region = Region(entries=(Entry(action="leave-out", shape="sphere", numbers=(0, 0, 0, 1)),))
    >>> near_and_far = np.vstack([np.eye(3) * 0.1, np.eye(3) + 5])
    >>> scan = ScanMesh(vertices=near_and_far, faces=np.array([[0, 1, 2], [3, 4, 5]]))
    >>> region.mask(scan).tolist()
    [False, True]
    """

    entries: tuple[Entry, ...]

    def mask(self, mesh: ScanMesh) -> BoolArray:
        """Return which faces count, shape (m,).

        Raises
        ------
        UsageError
            If a listed number does not occur in the mesh, or nothing is left.
        """
        use = [entry.faces(mesh) for entry in self.entries if entry.action == "use"]
        mask = np.logical_or.reduce(use) if use else np.ones(len(mesh.faces), dtype=bool)
        for entry in self.entries:
            if entry.action == "leave-out":
                mask = mask & ~entry.faces(mesh)
        if not mask.any():
            raise UsageError(
                f"The region leaves 0 of {len(mesh.faces)} triangles.",
                remedy="Check its units (mm) and place.",
            )
        return np.asarray(mask)

    def as_dict(self) -> dict[str, object]:
        """Return plain data in the form of the JSON file."""
        return {
            action: [{e.shape: list(e.numbers)} for e in self.entries if e.action == action]
            for action in _ACTIONS
        }


def read_region(path: str | Path) -> Region:
    """Read a region file, JSON or plain text (see the top of this module).

    Raises
    ------
    InputFileError
        If the file cannot be read or understood; the message names the line.
    """
    path = Path(path)
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise InputFileError(
            f"The region file '{path.name}' cannot be read: {error}.", remedy=_REMEDY
        ) from error
    try:
        entries = _from_json(text) if text.lstrip().startswith("{") else _from_lines(text)
    except (UsageError, ValueError, TypeError, AttributeError) as error:
        told = error.message if isinstance(error, UsageError) else str(error)
        raise InputFileError(
            f"The region file '{path.name}' is not understood: {told}", remedy=_REMEDY
        ) from error
    if not entries:
        raise InputFileError(f"The region file '{path.name}' holds 0 entries.", remedy=_REMEDY)
    return Region(entries=tuple(entries))


def _from_json(text: str) -> list[Entry]:
    data = json.loads(text)
    return [
        Entry(action=action, shape=shape, numbers=tuple(float(number) for number in numbers))
        for action, shapes in data.items()
        for item in shapes
        for shape, numbers in item.items()
    ]


def _from_lines(text: str) -> list[Entry]:
    entries = []
    for number, line in enumerate(text.splitlines(), start=1):
        words = line.split("#")[0].split()
        if not words:
            continue
        if len(words) < 3:
            raise UsageError(f"Line {number} has {len(words)} words.", remedy=_REMEDY)
        try:
            numbers = tuple(float(word) for word in words[2:])
            entries.append(Entry(action=words[0], shape=words[1], numbers=numbers))
        except UsageError as error:
            raise UsageError(f"Line {number}: {error.message}", remedy=_REMEDY) from error
        except ValueError as error:
            raise UsageError(f"Line {number}: {error}.", remedy=_REMEDY) from error
    return entries

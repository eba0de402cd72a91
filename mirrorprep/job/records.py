"""What a stage hands on: figures, findings and shapes, and how they are kept for a run that is resumed."""

import hashlib
import io
import json
import zipfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import Any, Final, TypeVar

import numpy as np
from numpy.typing import NDArray

import mirrorprep
from mirrorprep.errors import MirrorPrepError
from mirrorprep.handover.atomic import write_bytes
from mirrorprep.solid.certify import certify
from mirrorprep.solid.finding import Finding, Severity
from mirrorprep.solid.mesh import Origin, ScanMesh
from mirrorprep.solid.solid import Solid

Shape = ScanMesh | Solid
Taken = TypeVar("Taken")
_RECORD: Final = "record"
_ARRAY: Final = "array."


@dataclass(frozen=True, slots=True, kw_only=True)
class StageRecord:
    """What one stage did.

    Attributes
    ----------
    name : str
        The room's name.
    figures : dict
        Results as plain data, with units in their names.
    findings : tuple of Finding
        What it noticed.
    shapes : mapping of str to ScanMesh or Solid
        What later stages work on.
    arrays : mapping of str to array
        Maps for pictures: one value per vertex or face of a shape.
    """

    name: str
    figures: dict[str, Any]
    findings: tuple[Finding, ...] = ()
    shapes: Mapping[str, Shape] = field(default_factory=dict)
    arrays: Mapping[str, NDArray[np.float64]] = field(default_factory=dict)

    def solid(self, name: str) -> Solid:
        """Return a shape that must be a solid."""
        shape = self.shapes[name]
        return shape if isinstance(shape, Solid) else certify(shape)

    def mesh(self, name: str) -> ScanMesh:
        """Return a shape as a mesh."""
        shape = self.shapes[name]
        return shape.mesh if isinstance(shape, Solid) else shape

    def as_dict(self) -> dict[str, object]:
        """Return plain data for JSON."""
        return {
            "name": self.name,
            "figures": self.figures,
            "findings": [finding.as_dict() for finding in self.findings],
        }


def digest(*parts: object) -> str:
    """Return a SHA-256 over plain data, the same for the same data."""
    text = json.dumps(parts, sort_keys=True, default=str, ensure_ascii=True)
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


@cache
def code_digest() -> str:
    """Return a SHA-256 over the package's own source, so that a record of other code is never taken up."""
    root = Path(mirrorprep.__file__).parent
    state = hashlib.sha256()
    for file in sorted(root.rglob("*.py")):
        state.update(file.relative_to(root).as_posix().encode() + file.read_bytes())
    return state.hexdigest()


class Store:
    """The records of a job's stages in a folder, one file for each stage; remembers those it has read."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._held: dict[str, tuple[str, StageRecord]] = {}

    def file(self, name: str) -> Path:
        """Return where the record of a stage lies."""
        return self.folder / f"{name}.npz"

    def recall(self, name: str, key: str) -> StageRecord | None:
        """Return the record of a stage, None unless it was kept under this key."""
        if name in self._held and self._held[name][0] == key and self.file(name).exists():
            return self._held[name][1]
        record = recall(self.file(name), key)
        if record is not None:
            self._held[name] = (key, record)
        return record

    def keep(self, record: StageRecord, name: str, key: str) -> None:
        """Write the record of a stage, whole or not at all."""
        self._held.pop(name, None)
        keep(record, self.file(name), key)


@dataclass(frozen=True, slots=True, kw_only=True)
class Glance:
    """A kept record without its shapes.

    Attributes
    ----------
    key : str
        The key it is kept under.
    record : StageRecord
        Its name, figures and findings.
    triangles : dict of str to int
        Triangles of each shape.
    """

    key: str
    record: StageRecord
    triangles: dict[str, int]


def glance(file: Path) -> Glance | None:
    """Return what a kept record says, without loading its shapes; None when there is none."""
    try:
        with open(file, "rb") as stream, np.load(stream, allow_pickle=False) as arrays:
            data = json.loads(arrays[_RECORD].tobytes())
        return Glance(key=data["key"], record=_told(data), triangles=data["triangles"])
    except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile):
        return None


def kept_shape(file: Path, key: str, name: str) -> ScanMesh | None:
    """Return one shape of a kept record as a plain mesh; None when it is not there under this key."""
    return _read(file, key, lambda arrays: _mesh(arrays, name))


def kept_maps(file: Path, key: str) -> dict[str, NDArray[np.float64]] | None:
    """Return the maps of a kept record without its shapes; None when it is not there under this key."""
    return _read(file, key, _maps)


def _read(file: Path, key: str, take: Callable[[Mapping[str, np.ndarray]], Taken]) -> Taken | None:
    """Return what `take` finds in a kept record; whatever is unreadable counts as absent."""
    try:
        with open(file, "rb") as stream, np.load(stream, allow_pickle=False) as arrays:
            return take(arrays) if json.loads(arrays[_RECORD].tobytes())["key"] == key else None
    except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile, MirrorPrepError):
        return None


def keep(record: StageRecord, file: Path, key: str) -> None:
    """Write a record for a later run, whole or not at all."""
    arrays: dict[str, np.ndarray] = {f"{_ARRAY}{name}": values for name, values in record.arrays.items()}
    kinds: dict[str, str] = {}
    triangles: dict[str, int] = {}
    for name, shape in record.shapes.items():
        mesh = record.mesh(name)
        kinds[name] = "solid" if isinstance(shape, Solid) else "mesh"
        triangles[name] = len(mesh.faces)
        arrays[f"{name}.vertices"], arrays[f"{name}.faces"] = mesh.vertices, mesh.faces
        if mesh.colors is not None:
            arrays[f"{name}.colors"] = mesh.colors
    text = json.dumps({"key": key, "kinds": kinds, "triangles": triangles, **record.as_dict()})
    arrays[_RECORD] = np.frombuffer(text.encode("utf-8"), dtype=np.uint8)
    buffer = io.BytesIO()
    np.savez(buffer, allow_pickle=False, **arrays)
    write_bytes(file, buffer.getvalue(), overwrite=True)


def recall(file: Path, key: str) -> StageRecord | None:
    """Return the record kept under the same key, or None; whatever is unreadable counts as absent."""
    return _read(file, key, _whole)


def _whole(arrays: Mapping[str, np.ndarray]) -> StageRecord:
    data = json.loads(arrays[_RECORD].tobytes())
    shapes = {name: _shape(arrays, name, kind) for name, kind in data["kinds"].items()}
    return replace(_told(data), shapes=shapes, arrays=_maps(arrays))


def _maps(arrays: Mapping[str, np.ndarray]) -> dict[str, NDArray[np.float64]]:
    return {name[len(_ARRAY) :]: arrays[name] for name in arrays if name.startswith(_ARRAY)}


def _told(data: dict[str, Any]) -> StageRecord:
    """Return name, figures and findings of a record from its text."""
    findings = tuple(
        Finding(**{**finding, "severity": Severity(finding["severity"]), "where": _places(finding["where"])})
        for finding in data["findings"]
    )
    return StageRecord(name=data["name"], figures=data["figures"], findings=findings)


def _places(where: list[list[float]]) -> tuple[tuple[float, float, float], ...]:
    return tuple((x, y, z) for x, y, z in where)


def _shape(arrays: Mapping[str, np.ndarray], name: str, kind: str) -> Shape:
    mesh = _mesh(arrays, name)
    return certify(mesh) if kind == "solid" else mesh


def _mesh(arrays: Mapping[str, np.ndarray], name: str) -> ScanMesh:
    colors = arrays.get(f"{name}.colors")
    return ScanMesh(
        vertices=arrays[f"{name}.vertices"], faces=arrays[f"{name}.faces"], colors=colors, origin=Origin()
    )

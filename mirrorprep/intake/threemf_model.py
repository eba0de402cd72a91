"""One model part of a 3MF package: its objects and what it asks to be built.

Source: 3MF core specification 1.4, sections 3 and 4; production extension for the attribute ``path``.
"""

from array import array
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from mirrorprep.intake.limits import MAX_TRIANGLES, MAX_VERTICES, MAX_XML_TAGS
from mirrorprep.intake.parts import matrix_from
from mirrorprep.intake.raw import checked_indices, limit_triangles, refuse
from mirrorprep.intake.xml_stream import stream

CORE: Final = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
PRODUCTION: Final = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06"
_HARMLESS: Final = (PRODUCTION, "http://schemas.microsoft.com/3dmanufacturing/material/2015/02")
_UNITS: Final = {
    "micron": "micron",
    "millimeter": "mm",
    "centimeter": "cm",
    "inch": "in",
    "foot": "ft",
    "meter": "m",
}


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Reference:
    """A component or build item: which object, and where it goes.

    Attributes
    ----------
    path : str
        The model part that holds the object; empty for the part that refers to it.
    object_id : str
        The object's number in that part.
    matrix : (4, 4) float64
        Placement of column vectors.
    """

    path: str
    object_id: str
    matrix: NDArray[np.float64]


@dataclass(slots=True, eq=False)
class ModelObject:
    """An object: a mesh, or components."""

    kind: str
    vertices: "array[float]" = field(default_factory=lambda: array("d"))
    triangles: "array[int]" = field(default_factory=lambda: array("q"))
    components: list[Reference] = field(default_factory=list)

    def mesh(self) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
        """Return vertices and checked faces."""
        points = np.frombuffer(self.vertices, dtype=np.float64).reshape(-1, 3)
        faces = np.frombuffer(self.triangles, dtype=np.int64).reshape(-1, 3)
        return points, checked_indices(faces, len(points))


@dataclass(slots=True, eq=False)
class Model:
    """What one model part holds."""

    unit: str = "mm"
    objects: dict[str, ModelObject] = field(default_factory=dict)
    items: list[Reference] = field(default_factory=list)


def read_model(blocks: Iterable[bytes]) -> Model:
    """Return the objects and build items of a model part.

    Raises
    ------
    InputFileError
        If the part is not a 3MF model, or needs an extension that changes its geometry.
    """
    reader = _Reader()
    prefixes = stream(blocks, reader.start, reader.end)
    if reader.model is None:
        refuse("The model part holds no 3MF model.")
    for prefix in reader.required.split():
        if prefixes.get(prefix, "") not in _HARMLESS:
            refuse(
                f"The 3MF file needs the extension '{prefixes.get(prefix, prefix)[:120]}' for its geometry, "
                "which is not read.",
                "Export plain meshes.",
            )
    return reader.model


class _Reader:
    """Builds a model from start and end tags."""

    def __init__(self) -> None:
        self.model: Model | None = None
        self.required = ""
        self._object: ModelObject | None = None
        self._vertices = array("d")
        self._triangles = array("q")
        self._frequent = {f"{CORE} vertex": self._vertex, f"{CORE} triangle": self._triangle}
        self._others = {
            f"{CORE} model": self._model,
            f"{CORE} object": self._open_object,
            f"{CORE} component": self._component,
            f"{CORE} item": self._item,
        }
        self._tags = 0

    def start(self, name: str, attributes: dict[str, str]) -> None:
        """Take one start tag."""
        handler = self._frequent.get(name) or self._other(name)
        try:
            handler(attributes)
        except (KeyError, ValueError, OverflowError) as error:
            place = name.rpartition(" ")[2]
            refuse(f"A {place} of the 3MF model lacks an attribute or holds a wrong number ({error}).")

    def _other(self, name: str) -> Callable[[dict[str, str]], None]:
        self._tags += 1
        if self._tags > MAX_XML_TAGS:
            refuse(f"The 3MF model holds more than {MAX_XML_TAGS} elements besides its meshes.")
        handler = self._others.get(name, _ignore)
        if handler is _ignore and self.model is None:
            refuse(f"The model part begins with '{name[:80]}', not with a 3MF model.")
        return handler

    def end(self, name: str) -> None:
        """Take one end tag."""
        if name == f"{CORE} object":
            self._object = None

    def _model(self, attributes: dict[str, str]) -> None:
        unit = attributes.get("unit", "millimeter")
        if unit not in _UNITS:
            refuse(f"The 3MF unit '{unit[:40]}' is none of {', '.join(_UNITS)}.")
        self.model = Model(unit=_UNITS[unit])
        self.required = attributes.get("requiredextensions", "")

    def _open_object(self, attributes: dict[str, str]) -> None:
        number = attributes["id"]
        model = self.model or Model()
        if number in model.objects:
            refuse(f"The 3MF model holds object {number[:20]} twice.")
        self._object = ModelObject(kind=attributes.get("type", "model"))
        model.objects[number] = self._object
        self._vertices, self._triangles = self._object.vertices, self._object.triangles

    def _vertex(self, attributes: dict[str, str]) -> None:
        self._vertices.extend((float(attributes["x"]), float(attributes["y"]), float(attributes["z"])))
        if len(self._vertices) > 3 * MAX_VERTICES:
            refuse(f"An object of the 3MF model holds more than {MAX_VERTICES} vertices.")

    def _triangle(self, attributes: dict[str, str]) -> None:
        self._triangles.extend((int(attributes["v1"]), int(attributes["v2"]), int(attributes["v3"])))
        if len(self._triangles) > 3 * MAX_TRIANGLES:
            limit_triangles(len(self._triangles) // 3)

    def _component(self, attributes: dict[str, str]) -> None:
        if self._object is None:
            refuse("A component of the 3MF model stands outside every object.")
        self._object.components.append(_reference(attributes))

    def _item(self, attributes: dict[str, str]) -> None:
        if self.model is not None:
            self.model.items.append(_reference(attributes))


def _ignore(_: dict[str, str]) -> None:
    """Take a tag that says nothing about the shape."""


def _reference(attributes: dict[str, str]) -> Reference:
    numbers = attributes.get("transform", "1 0 0 0 1 0 0 0 1 0 0 0").split()
    matrix = matrix_from([float(number) for number in numbers], (4, 3))
    path = attributes.get(f"{PRODUCTION} path", "")
    return Reference(path=path, object_id=attributes["objectid"], matrix=matrix)

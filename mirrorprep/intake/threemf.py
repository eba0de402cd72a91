"""3MF: a ZIP package of XML model parts; states its unit; objects, components and build items.

Read are the objects that the build places, through any nesting of components and, with the production
extension, through several model parts. Names, metadata, colours and thumbnails are never looked at.
"""

from typing import Final

import numpy as np

from mirrorprep.intake.archive import Archive
from mirrorprep.intake.limits import MAX_DEPTH
from mirrorprep.intake.parts import Part, joined, limit_parts
from mirrorprep.intake.raw import RawMesh, caution, no_triangles, note, refuse
from mirrorprep.intake.registry import Format, register
from mirrorprep.intake.threemf_model import Model, ModelObject, Reference, read_model
from mirrorprep.intake.xml_stream import stream
from mirrorprep.progress import Progress

Key = tuple[str, str]

_ROOT_TYPE: Final = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
_RELATIONS: Final = "_rels/.rels"
_USUAL: Final = "3d/3dmodel.model"
_AUXILIARY: Final = ("support", "solidsupport")


def recognises(data: bytes) -> bool:
    """Whether the file is a ZIP archive that names a model part."""
    return data.startswith(b"PK\x03\x04") and b".model" in data[-(2**21) :].lower()


def read(data: bytes, progress: Progress) -> RawMesh:
    """Return what a 3MF package builds, as one mesh in the package's unit."""
    package = _Package(Archive(data), progress)
    model = package.model(package.root)
    items = model.items
    findings = []
    if not items:
        items = package.loose(package.root)
        if items:
            message = "The 3MF build list is empty; all its objects were read where they stand."
            findings.append(caution("empty-build", message, remedy="Check the exporter."))
    package.measure(items)
    parts = package.unfold(items)
    if package.left_out:
        message = f"{package.left_out} support objects are no part of the shape; they were left out."
        findings.append(note("supports-ignored", message, measured=package.left_out))
    if not parts:
        no_triangles()
    return joined(parts, model.unit).noting(*findings)


class _Package:
    """The model parts of a package, read when first needed."""

    def __init__(self, archive: Archive, progress: Progress) -> None:
        self._archive = archive
        self._progress = progress
        self._models: dict[str, Model] = {}
        self._sizes: dict[Key, tuple[int, int, int]] = {}
        self.left_out = 0
        self.root = self._find_root()

    def _find_root(self) -> str:
        targets: list[str] = []

        def start(name: str, attributes: dict[str, str]) -> None:
            if name.endswith(" Relationship") and attributes.get("Type") == _ROOT_TYPE:
                targets.append(_part_name(attributes.get("Target", "")))

        if _RELATIONS in self._archive.names:
            stream(self._archive.blocks(_RELATIONS), start, lambda _: None)
        models = [name for name in self._archive.names if name.endswith(".model")]
        chosen = (
            [name for name in targets if name in self._archive.names]
            or [name for name in models if name == _USUAL]
            or models
        )
        if not chosen:
            refuse("The archive holds no 3MF model.", "Unpack it and give the scan inside.")
        return chosen[0]

    def model(self, name: str) -> Model:
        """Return a model part."""
        if name not in self._models:
            self._progress.step("reading 3MF", 0.1)
            self._models[name] = read_model(self._archive.blocks(name))
        return self._models[name]

    def loose(self, name: str) -> list[Reference]:
        """Return a reference to each object of a part that no component uses."""
        model = self.model(name)
        used = {
            part.object_id for entry in model.objects.values() for part in entry.components if not part.path
        }
        return [
            Reference(path="", object_id=number, matrix=np.eye(4))
            for number in model.objects
            if number not in used
        ]

    def measure(self, items: list[Reference]) -> None:
        """Refuse a build that unfolds beyond the limits, or refers to itself, before unfolding it."""
        limit_parts(*self._total(items, self.root, ()))

    def _total(self, references: list[Reference], home: str, above: tuple[Key, ...]) -> tuple[int, int, int]:
        """Return how many parts, vertices and triangles the references unfold to."""
        total = np.zeros(3, dtype=object)
        for reference in references:
            total += np.array(self._size(_key(reference, home), above), dtype=object)
        return int(total[0]), int(total[1]), int(total[2])

    def _size(self, key: Key, above: tuple[Key, ...]) -> tuple[int, int, int]:
        if key in above or len(above) > MAX_DEPTH:
            refuse("The components of the 3MF file form a loop or are nested too deeply.")
        if key not in self._sizes:
            entry = self._object(key)
            parts, vertices, triangles = self._total(entry.components, key[0], (*above, key))
            own = len(entry.vertices) // 3, len(entry.triangles) // 3
            self._sizes[key] = parts + 1, vertices + own[0], triangles + own[1]
        return self._sizes[key]

    def _object(self, key: Key) -> ModelObject:
        entry = self.model(key[0]).objects.get(key[1])
        if entry is None:
            refuse(f"The 3MF file refers to object {key[1][:20]}, which does not exist.")
        return entry

    def unfold(self, items: list[Reference]) -> list[Part]:
        """Return every mesh that the items place."""
        found: list[Part] = []
        waiting = [(_key(item, self.root), item.matrix) for item in reversed(items)]
        while waiting:
            key, matrix = waiting.pop()
            entry = self._object(key)
            if entry.kind in _AUXILIARY:
                self.left_out += 1
                continue
            if entry.triangles:
                vertices, faces = entry.mesh()
                found.append(Part(vertices=vertices, faces=faces, matrix=matrix))
            waiting.extend((_key(part, key[0]), matrix @ part.matrix) for part in reversed(entry.components))
        return found


def _key(reference: Reference, home: str) -> Key:
    return (_part_name(reference.path) if reference.path else home), reference.object_id


def _part_name(path: str) -> str:
    """Return the name inside the archive of a part that a path leads to."""
    steps = [step for step in path.replace("\\", "/").split("/") if step]
    if ".." in steps or ":" in path:
        refuse(
            "The 3MF file refers to a part outside its archive, as only a hostile file does.",
            "Do not use this file.",
        )
    return "/".join(steps).lower()


register(Format(name="3mf", title="3MF", suffixes=(".3mf",), recognises=recognises, read=read))

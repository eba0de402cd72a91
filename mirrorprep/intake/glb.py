"""GLB: the binary form of glTF 2.0, in metres with y up, turned here to z up.

The chosen scene's nodes are placed by their transforms, a mirroring one turns its triangles round. Bones,
morph targets, textures and materials are not read; vertex colours are.
"""

import json
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from mirrorprep.intake.accessors import Accessors, Json, entries, entry, whole
from mirrorprep.intake.colors import rgba
from mirrorprep.intake.faces import fan_faces, strip_faces
from mirrorprep.intake.limits import MAX_DEPTH, MAX_JSON_BYTES
from mirrorprep.intake.parts import Part, joined, limit_parts, matrix_from
from mirrorprep.intake.raw import RawMesh, caution, checked_indices, no_triangles, note, refuse
from mirrorprep.intake.registry import Format, register
from mirrorprep.progress import Progress
from mirrorprep.solid.finding import Finding

FloatArray = NDArray[np.float64]

Z_UP: Final = np.array([[1.0, 0, 0, 0], [0, 0, -1, 0], [0, 1, 0, 0], [0, 0, 0, 1]])
"""Turns y up to z up: (x, y, z) becomes (x, −z, y)."""

_HARMLESS: Final = ("KHR_materials_", "KHR_texture_", "EXT_texture_", "KHR_lights_", "KHR_mesh_quantization")
_MAGIC: Final = b"glTF"
_JSON: Final = b"JSON"
_BIN: Final = b"BIN\x00"


def recognises(data: bytes) -> bool:
    """Whether the file begins with the four letters of the format."""
    return data.startswith(_MAGIC)


def read(data: bytes, progress: Progress) -> RawMesh:
    """Return the mesh of a GLB file's scene, in metres, z up."""
    document, binary, findings = _container(data)
    _refuse_extensions(document)
    progress.step("reading GLB", 0.2)
    scene = _Scene(document, Accessors(document, binary))
    parts = scene.parts()
    progress.step("reading GLB", 0.8)
    if not parts:
        no_triangles(points=scene.points, lines=scene.lines)
    turned = note("axes-turned", "The format has y up; the mesh was turned to z up: (x, y, z) to (x, −z, y).")
    return joined(parts, "m").noting(turned, *findings)


def _container(data: bytes) -> tuple[Json, bytes, list[Finding]]:
    """Return the JSON document and the binary chunk of the file."""
    version, length = (int.from_bytes(data[at : at + 4], "little") for at in (4, 8))
    if not data.startswith(_MAGIC) or version != 2:
        refuse(f"The file is not GLB version 2 (version {version}).", "Export it as GLB 2.0.")
    if length > len(data) or length < 20:
        refuse(
            f"The file states a length of {length} bytes, but has {len(data)}: it is cut short or damaged."
        )
    findings = []
    if length < len(data):
        message = f"{len(data) - length} bytes follow the end that the file states; they were not read."
        findings.append(caution("trailing-bytes", message, remedy="Export the scan again."))
    chunks: dict[bytes, bytes] = {}
    at = 12
    while at + 8 <= length:
        size = int.from_bytes(data[at : at + 4], "little")
        if at + 8 + size > length:
            refuse(f"A part of {size} bytes does not fit into the file ({length - at - 8} bytes are left).")
        chunks.setdefault(data[at + 4 : at + 8], data[at + 8 : at + 8 + size])
        at += 8 + size
    return _document(chunks.get(_JSON, b"")), chunks.get(_BIN, b""), findings


def _document(text: bytes) -> Json:
    if len(text) > MAX_JSON_BYTES:
        refuse(f"The description inside the GLB file takes {len(text)} bytes (limit {MAX_JSON_BYTES}).")
    try:
        document = json.loads(text)
    except (ValueError, RecursionError):
        refuse("The description inside the GLB file is not valid JSON.")
    if not isinstance(document, dict):
        refuse("The description inside the GLB file is not a JSON object.")
    return document


def _refuse_extensions(document: Json) -> None:
    for name in entries(document, "extensionsRequired"):
        if not str(name).startswith(_HARMLESS):
            refuse(
                f"The file needs the extension '{str(name)[:60]}' for its geometry, which is not read.",
                "Export it without compression or extensions.",
            )


class _Scene:
    """Walks through the nodes and collects placed parts."""

    def __init__(self, document: Json, accessors: Accessors) -> None:
        self._document = document
        self._accessors = accessors
        self._meshes: dict[int, list[tuple[NDArray[Any], NDArray[np.int64], NDArray[np.uint8] | None]]] = {}
        self.points = 0
        self.lines = 0

    def parts(self) -> list[Part]:
        """Return every mesh of the scene, placed, z up."""
        waiting = [(index, Z_UP, 0) for index in reversed(self._roots())]
        seen: set[int] = set()
        found: list[Part] = []
        vertices = triangles = 0
        while waiting:
            index, above, depth = waiting.pop()
            number = whole(index, "a node")
            if number in seen or depth > MAX_DEPTH:
                refuse("The nodes of the GLB file form a loop or are nested too deeply.")
            seen.add(number)
            node = entry(self._document, "nodes", number)
            matrix = above @ _placement(node)
            waiting.extend((child, matrix, depth + 1) for child in reversed(entries(node, "children")))
            if "mesh" not in node:
                continue
            for points, faces, colors in self._mesh(whole(node["mesh"], "a mesh")):
                vertices, triangles = vertices + len(points), triangles + len(faces)
                found.append(Part(vertices=points, faces=faces, colors=colors, matrix=matrix))
                limit_parts(len(found), vertices, triangles)
        return found

    def _roots(self) -> list[Any]:
        """Return the root nodes of the scene to show: the default one, else the first, else all roots."""
        if entries(self._document, "scenes"):
            return entries(entry(self._document, "scenes", self._document.get("scene", 0)), "nodes")
        nodes = entries(self._document, "nodes")
        children = {
            str(child) for node in nodes if isinstance(node, dict) for child in entries(node, "children")
        }
        return [index for index in range(len(nodes)) if str(index) not in children]

    def _mesh(self, index: int) -> list[tuple[NDArray[Any], NDArray[np.int64], NDArray[np.uint8] | None]]:
        """Return the primitives of a mesh; those that share their positions become one."""
        if index not in self._meshes:
            groups: dict[tuple[str, str], list[Json]] = {}
            for primitive in entries(entry(self._document, "meshes", index), "primitives"):
                if not isinstance(primitive, dict) or not isinstance(primitive.get("attributes"), dict):
                    refuse(f"Mesh {index} of the GLB file has a part without attributes.")
                attributes = primitive["attributes"]
                key = str(attributes.get("POSITION")), str(attributes.get("COLOR_0"))
                groups.setdefault(key, []).append(primitive)
            made = [self._group(primitives) for primitives in groups.values()]
            self._meshes[index] = [group for group in made if len(group[1])]
        return self._meshes[index]

    def _group(
        self, primitives: list[Json]
    ) -> tuple[NDArray[Any], NDArray[np.int64], NDArray[np.uint8] | None]:
        attributes = primitives[0]["attributes"]
        if "POSITION" not in attributes:
            return np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int64), None
        points = self._accessors.read(attributes["POSITION"], widths=(3,))
        faces, total = [], 0
        for primitive in primitives:
            faces.append(self._faces(primitive, len(points)))
            total += len(faces[-1])
            limit_parts(1, len(points), total)
        colors = None
        if "COLOR_0" in attributes:
            table = self._accessors.read(attributes["COLOR_0"], widths=(3, 4))
            if len(table) != len(points):
                refuse(f"The GLB file holds {len(table)} colours for {len(points)} vertices.")
            colors = rgba([table[:, channel] for channel in range(table.shape[1])])
        return points, np.concatenate(faces), colors

    def _faces(self, primitive: Json, count: int) -> NDArray[np.int64]:
        mode = whole(primitive.get("mode", 4), "the mode of a mesh")
        if mode not in (4, 5, 6):
            self.points += count if mode == 0 else 0
            self.lines += count // 2 if 0 < mode < 4 else 0
            return np.zeros((0, 3), dtype=np.int64)
        if "indices" in primitive:
            corners = self._accessors.read(primitive["indices"], widths=(1,))[:, 0]
            if corners.dtype.kind != "u":
                refuse("The vertex indices of the GLB file are not unsigned whole numbers.")
        else:
            corners = np.arange(count)
        if mode == 4:
            if len(corners) % 3:
                refuse(f"The GLB file holds {len(corners)} triangle corners, not a multiple of 3.")
            return checked_indices(corners.reshape(-1, 3), count)
        unfold = strip_faces if mode == 5 else fan_faces
        return checked_indices(unfold(corners.astype(np.int64)), count)


def _placement(node: Json) -> FloatArray:
    """Return a node's own 4 × 4 matrix (section 3.5.3 of the specification)."""
    if "matrix" in node:
        return matrix_from(_numbers(node, "matrix", []), (4, 4))
    move = _numbers(node, "translation", [0, 0, 0])
    turn = _numbers(node, "rotation", [0, 0, 0, 1])
    stretch = _numbers(node, "scale", [1, 1, 1])
    matrix = matrix_from([1, 0, 0, 0, 1, 0, 0, 0, 1, *move], (4, 3))
    matrix[:3, :3] = _rotation(turn) * matrix_from([*stretch], (1, 3))[:3, 0]
    return matrix


def _numbers(node: Json, key: str, default: list[float]) -> list[float]:
    found = node.get(key, default)
    if not isinstance(found, list) or not all(isinstance(value, (int, float)) for value in found):
        refuse(f"The {key} of a GLB node is not a list of numbers.")
    return [float(value) for value in found]


def _rotation(quaternion: list[float]) -> FloatArray:
    """Return the rotation matrix of a quaternion (x, y, z, w), which is brought to unit length."""
    numbers = np.asarray(quaternion, dtype=np.float64)
    length = float(np.linalg.norm(numbers))
    if numbers.shape != (4,) or not 0.0 < length < np.inf:
        refuse("The rotation of a GLB node is not a quaternion.")
    x, y, z, w = numbers / length
    return np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
            [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
            [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
        ]
    )


register(Format(name="glb", title="GLB", suffixes=(".glb",), recognises=recognises, read=read))

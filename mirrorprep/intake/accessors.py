"""Typed views into the buffers of a glTF file, every index and length checked before it is used.

Source: glTF 2.0 specification, sections 3.6 (binary data storage) and 3.6.2.3 (sparse accessors).
"""

import base64
import binascii
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from mirrorprep.intake.limits import MAX_VERTICES
from mirrorprep.intake.raw import refuse

Json = dict[str, Any]

_COMPONENTS: Final = {5120: "<i1", 5121: "<u1", 5122: "<i2", 5123: "<u2", 5125: "<u4", 5126: "<f4"}
_WIDTHS: Final = {"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4}


def entries(holder: Json, key: str) -> list[Any]:
    """Return a list of a JSON object, empty when it is absent."""
    found = holder.get(key, [])
    if not isinstance(found, list):
        refuse(f"The glTF property '{key}' is not a list.")
    return found


def entry(holder: Json, key: str, index: object) -> Json:
    """Return one object of a list by its index."""
    found = entries(holder, key)
    place = whole(index, key)
    if place >= len(found) or not isinstance(found[place], dict):
        refuse(f"The glTF file refers to number {place} of its {key}, but holds {len(found)}.")
    chosen: Json = found[place]
    return chosen


def whole(value: object, name: str) -> int:
    """Return a number that must be whole and not negative."""
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value < 2**40:
        refuse(f"The glTF file gives '{str(value)[:20]}' for {name}, where a whole number from 0 belongs.")
    return value


class Accessors:
    """Reads the accessors of one document."""

    def __init__(self, document: Json, binary: bytes) -> None:
        self._document = document
        self._binary = binary
        self._decoded: dict[int, bytes] = {}

    def count(self, index: object) -> int:
        """Return how many elements an accessor states."""
        count = whole(entry(self._document, "accessors", index).get("count"), "the count of an accessor")
        if count > 2 * MAX_VERTICES:
            refuse(f"An accessor states {count} elements (limit {2 * MAX_VERTICES}).")
        return count

    def read(self, index: object, *, widths: tuple[int, ...]) -> NDArray[Any]:
        """Return an accessor's elements as (count, width), normalised to floats if it says so.

        Parameters
        ----------
        index : int
            Number of the accessor.
        widths : tuple of int
            Numbers per element that the caller can use.
        """
        accessor = entry(self._document, "accessors", index)
        count = self.count(index)
        kind = self._kind(accessor)
        width = _WIDTHS.get(str(accessor.get("type")), 0)
        if width not in widths:
            refuse(
                f"An accessor is of the type '{str(accessor.get('type'))[:20]}', which does not fit its use."
            )
        if "bufferView" in accessor:
            offset = whole(accessor.get("byteOffset", 0), "byteOffset")
            values = self._view(accessor["bufferView"], offset, (count, width), kind)
        elif count > len(self._binary):
            refuse(f"An accessor states {count} elements without data for them.")
        else:
            values = np.zeros((count, width), dtype=kind)
        if "sparse" in accessor:
            values = self._with_sparse(values, accessor["sparse"], kind)
        return _normalised(values) if accessor.get("normalized") is True else values

    def _kind(self, holder: Json) -> str:
        kind = _COMPONENTS.get(whole(holder.get("componentType"), "componentType"))
        if kind is None:
            refuse(f"The component type {holder.get('componentType')} is not one of {sorted(_COMPONENTS)}.")
        return kind

    def _with_sparse(self, values: NDArray[Any], sparse: Json, kind: str) -> NDArray[Any]:
        """Return the values with the listed ones replaced."""
        if not isinstance(sparse, dict):
            refuse("A sparse accessor is not an object.")
        where, what = sparse.get("indices"), sparse.get("values")
        if not isinstance(where, dict) or not isinstance(what, dict):
            refuse("A sparse accessor lacks its indices or values.")
        count = whole(sparse.get("count"), "the count of a sparse accessor")
        offset = whole(where.get("byteOffset", 0), "byteOffset")
        rows = self._view(where.get("bufferView"), offset, (count, 1), self._kind(where))[:, 0]
        if rows.dtype.kind != "u" or (count and int(rows.max()) >= len(values)):
            refuse("A sparse accessor replaces elements that do not exist.")
        offset = whole(what.get("byteOffset", 0), "byteOffset")
        changed = values.copy()
        changed[rows] = self._view(what.get("bufferView"), offset, (count, values.shape[1]), kind)
        return changed

    def _view(self, index: object, offset: int, shape: tuple[int, int], kind: str) -> NDArray[Any]:
        """Return a strided view into a buffer."""
        view = entry(self._document, "bufferViews", index)
        buffer = self._buffer(whole(view.get("buffer"), "the buffer of a view"))
        begin = whole(view.get("byteOffset", 0), "byteOffset")
        length = whole(view.get("byteLength"), "byteLength")
        item = np.dtype(kind).itemsize
        stride = whole(view.get("byteStride", item * shape[1]), "byteStride")
        needed = offset + (shape[0] - 1) * stride + item * shape[1] if shape[0] else 0
        if begin + length > len(buffer) or needed > length or stride < item:
            refuse(
                f"An accessor of {shape[0]} elements needs {needed} bytes from byte {begin} on, but its view "
                f"has {length} and its buffer {len(buffer)}: the file is cut short or damaged."
            )
        if shape[0] == 0:
            return np.zeros(shape, dtype=kind)
        return np.ndarray(
            shape=shape, dtype=kind, buffer=buffer, offset=begin + offset, strides=(stride, item)
        )

    def _buffer(self, index: int) -> bytes:
        buffer = entry(self._document, "buffers", index)
        uri = buffer.get("uri")
        if uri is None:
            if index != 0:
                refuse(f"Buffer {index} has no data (only the first may be the binary chunk).")
            return self._binary
        if not isinstance(uri, str) or not uri.startswith("data:"):
            refuse(
                "The GLB file keeps its geometry in a separate file, which is not opened.",
                "Export one GLB file that holds everything.",
            )
        if index not in self._decoded:
            try:
                self._decoded[index] = base64.b64decode(uri.partition(",")[2], validate=True)
            except (binascii.Error, ValueError):
                refuse("A buffer embedded as text is not valid base64.")
        return self._decoded[index]


def _normalised(values: NDArray[Any]) -> NDArray[Any]:
    """Return whole numbers as floats from 0 or −1 to 1 (section 3.11 of the specification)."""
    if values.dtype.kind == "f":
        return values
    return np.maximum(values.astype(np.float64) / np.iinfo(values.dtype).max, -1.0)

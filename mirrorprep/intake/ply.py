"""PLY: vertices, polygons or triangle strips, colours; ASCII or binary of either byte order; no unit."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from mirrorprep.intake.colors import rgba
from mirrorprep.intake.faces import polygon_faces, strip_faces
from mirrorprep.intake.ply_body import Body, Table
from mirrorprep.intake.ply_header import Header, read_header
from mirrorprep.intake.raw import RawMesh, caution, checked_indices, limit_triangles, no_triangles, refuse
from mirrorprep.intake.registry import Format, register
from mirrorprep.progress import Progress
from mirrorprep.solid.finding import Finding

_BOM = b"\xef\xbb\xbf"
_COLORS = (
    ("red", "r", "diffuse_red"),
    ("green", "g", "diffuse_green"),
    ("blue", "b", "diffuse_blue"),
    ("alpha", "a", "diffuse_alpha"),
)
_WANTED = frozenset({"vertex", "face", "tristrips"})
_INDICES = ("vertex_indices", "vertex_index")


def recognises(data: bytes) -> bool:
    """Whether the file begins with the word 'ply' on a line of its own."""
    head = data[:8].removeprefix(_BOM)
    return head[:3] == b"ply" and head[3:4] in (b"\n", b"\r", b" ", b"\t")


def read(data: bytes, progress: Progress) -> RawMesh:
    """Return the mesh of a PLY file."""
    data = data.removeprefix(_BOM)
    if not recognises(data):
        refuse("The file does not begin with the word 'ply'.")
    header = read_header(data)
    tables, left = _tables(data, header, progress)
    if "vertex" not in tables:
        no_triangles()
    vertices = _vertices(tables["vertex"], exact=not header.order)
    faces, findings = _faces(tables, vertices)
    if len(faces) == 0:
        no_triangles(points=len(vertices))
    if left:
        message = f"{left} {'bytes' if header.order else 'numbers'} follow the last row; they were not read."
        remedy = "Compare the counts with the exporter's."
        findings = (*findings, caution("trailing-bytes", message, remedy=remedy, measured=left))
    return RawMesh(vertices=vertices, faces=faces, colors=_vertex_colors(tables["vertex"]), findings=findings)


def _tables(data: bytes, header: Header, progress: Progress) -> tuple[dict[str, Table], int]:
    """Read elements in file order as far as the last wanted one, and say what is left behind the last."""
    last = max((k for k, element in enumerate(header.elements) if element.name in _WANTED), default=-1)
    tables: dict[str, Table] = {}
    if last < 0:
        return tables, 0
    body = Body(data, header)
    for place, element in enumerate(header.elements[: last + 1]):
        if element.name in tables:
            refuse(f"The PLY header names the element '{element.name[:40]}' twice.")
        tables[element.name] = body.table(element)
        progress.step("reading PLY", (place + 1) / (last + 1))
    return tables, body.left if last + 1 == len(header.elements) else 0


def _vertices(table: Table, *, exact: bool) -> NDArray[Any]:
    """Return positions, as float32 when the file stores just that and not text."""
    element = table.element
    places = [place for place in map(element.place, "xyz") if place in table.columns]
    if len(places) < 3:
        refuse("The PLY vertices have no x, y and z.")
    small = not exact and all(table.columns[place].dtype.itemsize == 4 for place in places)
    small = small and all(table.columns[place].dtype.kind == "f" for place in places)
    vertices = np.empty((element.rows, 3), dtype=np.float32 if small else np.float64)
    for axis, place in enumerate(places):
        vertices[:, axis] = table.columns[place]
    return vertices


def _vertex_colors(table: Table) -> NDArray[np.uint8] | None:
    element = table.element
    places = [element.place(*names) for names in _COLORS]
    if any(place not in table.columns for place in places[:3]):
        return None
    return rgba([_typed(table.columns[k], element.properties[k].item) for k in places if k in table.columns])


def _typed(column: NDArray[Any], item: str) -> NDArray[Any]:
    """Give a column of an ASCII body, which holds plain floats, the type that the header states."""
    kind = np.dtype(item)
    if kind.kind == "f" or column.dtype.kind != "f":
        return column
    limits = np.iinfo(kind)
    return np.asarray(np.clip(np.nan_to_num(column), limits.min, limits.max).astype(kind))


def _faces(tables: dict[str, Table], vertices: NDArray[Any]) -> tuple[NDArray[np.int64], tuple[Finding, ...]]:
    parts: list[NDArray[np.int64]] = []
    findings: tuple[Finding, ...] = ()
    polygons = _index_lists(tables.get("face"))
    if polygons is not None:
        made, findings = polygon_faces(vertices, *polygons)
        parts.append(made)
    strips = _index_lists(tables.get("tristrips"))
    if strips is not None:
        sizes, corners = strips
        limit_triangles(len(corners))
        joined = np.insert(corners.astype(np.int64), np.cumsum(sizes)[:-1], -1) if len(sizes) else corners
        parts.append(checked_indices(strip_faces(joined), len(vertices)))
    return np.concatenate(parts) if parts else np.zeros((0, 3), dtype=np.int64), findings


def _index_lists(table: Table | None) -> tuple[NDArray[np.int64], NDArray[np.int64]] | None:
    if table is None:
        return None
    place = table.element.place(*_INDICES)
    if place is None or place not in table.lists:
        if table.element.rows:
            refuse(f"The PLY element '{table.element.name}' has no list of vertex indices.")
        return None
    sizes, values = table.lists[place]
    if values.dtype.kind == "f":
        values = np.where(np.isfinite(values), np.clip(values, -1, 2**53), -1)
    return sizes, values.astype(np.int64, copy=False)


register(Format(name="ply", title="PLY", suffixes=(".ply",), recognises=recognises, read=read))

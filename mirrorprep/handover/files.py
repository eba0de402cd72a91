"""Print-ready files: binary STL and PLY, and 3MF with named parts, millimetres and cautions."""

import zipfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any, Final
from xml.sax.saxutils import escape, quoteattr

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mirrorprep import cautions
from mirrorprep.errors import NotASolidError, OutputError, UsageError
from mirrorprep.handover.atomic import atomic_write
from mirrorprep.handover.provenance import PRODUCED_BY
from mirrorprep.solid.certify import examine
from mirrorprep.solid.mesh import ScanMesh, frozen
from mirrorprep.solid.solid import Solid

STL_HEADER: Final = f"mirrorprep, mm. {cautions.RESEARCH_ONLY.split('. ')[0]}.".encode("ascii").ljust(80)
"""80 bytes; must not begin with 'solid', which marks a text file."""

METADATA_NAMES: Final = (
    "Title",
    "Designer",
    "Description",
    "Copyright",
    "LicenseTerms",
    "Rating",
    "CreationDate",
    "ModificationDate",
    "Application",
)
"""The names that need no namespace: 3MF core specification 1.4, section 3.4.1."""

_CORE: Final = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
_CONTENT_TYPES: Final = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/>'
    "</Types>\n"
)
_RELATIONS: Final = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    '<Relationship Target="/3D/3dmodel.model" Id="rel0" '
    'Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/>'
    "</Relationships>\n"
)
_ROWS_PER_CHUNK: Final = 65536
_LARGE_MODEL_BYTES: Final = 1 << 30
_BYTES_PER_ROW: Final = 70


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class NamedPart:
    """One part of a 3MF file.

    Attributes
    ----------
    name : str
        Shown by whatever opens the file; unique within it.
    mesh : ScanMesh or Solid
        Closed and right side out.
    transform : (4, 4) float64 or None
        Where the part lies on the bed, for column vectors in mm; None leaves it where it is.
    """

    name: str
    mesh: ScanMesh | Solid
    transform: NDArray[np.float64] | None = None

    def __post_init__(self) -> None:
        if self.transform is None:
            return
        matrix = np.asarray(self.transform, dtype=np.float64)
        proper = matrix.shape == (4, 4) and np.isfinite(matrix).all()
        if not proper or not np.array_equal(matrix[3], [0, 0, 0, 1]) or np.linalg.det(matrix) <= 0:
            raise UsageError(
                f"The transform of '{self.name}' is not a placement.",
                remedy="Give a finite 4 × 4 matrix with a positive determinant and last row 0 0 0 1.",
            )
        object.__setattr__(self, "transform", frozen(matrix, np.float64))


def write_stl(mesh: ScanMesh | Solid, path: Path | str, *, overwrite: bool = False) -> Path:
    """Write a binary STL file in millimetres, whole or not at all.

    Parameters
    ----------
    mesh : ScanMesh or Solid
        Open surfaces are written as they are.
    path : path-like
        The file.
    overwrite : bool
        Replace an existing file.

    Returns
    -------
    Path
        The file written: 84 + 50 n bytes.

    Raises
    ------
    OutputError
        If there is nothing to write, or the file cannot be written.

    Notes
    -----
    The format holds 32-bit floats: positions near 100 mm are rounded to about 8e-6 mm, and a shape that
    is a solid by index may pinch when a reader merges equal corners. Prefer 3MF.

    Examples
    --------
    >>> import tempfile
    >>> from mirrorprep.solid.primitives import box
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     write_stl(box([1, 2, 3]), Path(folder) / "box.stl").stat().st_size
    684
    """
    surface = _surface(mesh)
    records = _stl_records(surface)
    with atomic_write(path, overwrite=overwrite) as file:
        file.write(STL_HEADER)
        file.write(np.array([len(records)], dtype="<u4").tobytes())
        file.write(records.tobytes())
    return Path(path)


def _stl_records(surface: ScanMesh) -> NDArray[np.void]:
    with np.errstate(over="ignore"):
        corners = surface.triangles.astype("<f4")
    if not np.isfinite(corners).all():
        raise OutputError(
            "A coordinate is too large for the 32-bit numbers of an STL file.", remedy="Check the unit."
        )
    a, b, c = (corners[:, i].astype(np.float64) for i in range(3))
    normals = np.cross(b - a, c - a)
    lengths = np.linalg.norm(normals, axis=1, keepdims=True)
    kind = [("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")]
    records = np.zeros(len(corners), dtype=kind)
    records["normal"] = np.divide(normals, lengths, out=np.zeros_like(normals), where=lengths > 0)
    records["corners"] = corners
    return records


def write_ply(mesh: ScanMesh | Solid, path: Path | str, *, overwrite: bool = False) -> Path:
    """Write a binary PLY file (little-endian, double precision, mm) with the colours of the vertices.

    Raises
    ------
    OutputError
        If there is nothing to write, or the file cannot be written.

    Examples
    --------
    >>> import tempfile
    >>> from mirrorprep.solid.primitives import box
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     write_ply(box([1, 2, 3]), Path(folder) / "box.ply").read_bytes()[:3]
    b'ply'
    """
    surface = _surface(mesh)
    kind: list[Any] = [("xyz", "<f8", 3)]
    if surface.colors is not None:
        kind.append(("rgba", "u1", 4))
    points = np.zeros(len(surface.vertices), dtype=kind)
    points["xyz"] = surface.vertices
    if surface.colors is not None:
        points["rgba"] = surface.colors
    faces = np.zeros(len(surface.faces), dtype=[("count", "u1"), ("corners", "<i4", 3)])
    faces["count"] = 3
    faces["corners"] = surface.faces
    with atomic_write(path, overwrite=overwrite) as file:
        file.write(_ply_header(surface).encode("ascii"))
        file.write(points.tobytes())
        file.write(faces.tobytes())
    return Path(path)


def _ply_header(surface: ScanMesh) -> str:
    lines = ["ply", "format binary_little_endian 1.0", f"comment {PRODUCED_BY}, units mm"]
    lines += [f"comment {cautions.RESEARCH_ONLY}", f"element vertex {len(surface.vertices)}"]
    lines += [f"property double {axis}" for axis in "xyz"]
    if surface.colors is not None:
        lines += [f"property uchar {channel}" for channel in ("red", "green", "blue", "alpha")]
    lines += [f"element face {len(surface.faces)}", "property list uchar int vertex_indices", "end_header"]
    return "\n".join(lines) + "\n"


def write_3mf(
    parts: Sequence[NamedPart],
    path: Path | str,
    *,
    metadata: Mapping[str, str] | None = None,
    overwrite: bool = False,
) -> Path:
    """Write a 3MF package in millimetres with named parts in their places, whole or not at all.

    Parameters
    ----------
    parts : sequence of NamedPart
        At least one; each mesh a solid.
    path : path-like
        The file.
    metadata : mapping, optional
        Values for the names in `METADATA_NAMES`. ``Application`` is filled in, and ``Description``
        always carries the research-only caution.
    overwrite : bool
        Replace an existing file.

    Returns
    -------
    Path
        The file; the same parts give the same bytes.

    Raises
    ------
    NotASolidError
        If a part is open, not manifold or inside out.
    OutputError
        If there is nothing to write, or the file cannot be written.
    UsageError
        If a name occurs twice or a metadata name is not allowed.

    Notes
    -----
    3MF core specification 1.4: sections 3.3 (transforms), 3.4.1 (metadata), 4.1 (mesh). Coordinates keep
    nine significant digits: 1e-7 mm at 100 mm.

    Examples
    --------
    >>> import tempfile
    >>> from mirrorprep.solid.primitives import box
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     file = write_3mf([NamedPart(name="block", mesh=box([1, 2, 3]))], Path(folder) / "b.3mf")
    ...     zipfile.ZipFile(file).namelist()
    ['[Content_Types].xml', '_rels/.rels', '3D/3dmodel.model']
    """
    named = [(part, _solid_surface(part)) for part in parts]
    _refuse_bad_names([part.name for part in parts])
    head = _model_head(_filled_metadata(metadata or {}))
    rows = sum(len(surface.vertices) + len(surface.faces) for _, surface in named)
    large = rows * _BYTES_PER_ROW > _LARGE_MODEL_BYTES
    with (
        atomic_write(path, overwrite=overwrite) as file,
        zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as package,
    ):
        for name, text in (("[Content_Types].xml", _CONTENT_TYPES), ("_rels/.rels", _RELATIONS)):
            with package.open(name, "w") as entry:
                entry.write(text.encode("utf-8"))
        with package.open("3D/3dmodel.model", "w", force_zip64=large) as model:
            _write_model(model, head, named)
        for info in package.infolist():  # opened by name they date from 1980; only the system would differ
            info.create_system = 3
    return Path(path)


def _write_model(model: IO[bytes], head: str, named: Sequence[tuple[NamedPart, ScanMesh]]) -> None:
    model.write(head.encode("utf-8"))
    model.write(b"<resources>\n")
    for number, (part, surface) in enumerate(named, start=1):
        opening = f'<object id="{number}" type="model" name={quoteattr(part.name)}><mesh>\n<vertices>\n'
        model.write(opening.encode("utf-8"))
        for text in _rows('<vertex x="%.9g" y="%.9g" z="%.9g"/>\n', surface.vertices):
            model.write(text)
        model.write(b"</vertices>\n<triangles>\n")
        for text in _rows('<triangle v1="%d" v2="%d" v3="%d"/>\n', surface.faces):
            model.write(text)
        model.write(b"</triangles>\n</mesh></object>\n")
    model.write(b"</resources>\n<build>\n")
    for number, (part, _) in enumerate(named, start=1):
        model.write(f'<item objectid="{number}"{_placement(part.transform)}/>\n'.encode())
    model.write(b"</build>\n</model>\n")


def _rows(pattern: str, table: NDArray[Any]) -> Iterator[bytes]:
    for start in range(0, len(table), _ROWS_PER_CHUNK):
        chunk = table[start : start + _ROWS_PER_CHUNK]
        yield ((pattern * len(chunk)) % tuple(chunk.ravel().tolist())).encode("ascii")


def _placement(transform: ArrayLike | None) -> str:
    if transform is None:
        return ""
    # the format multiplies row vectors: its rows are the columns of our matrix, the shift comes last
    numbers = np.asarray(transform)[:3].T.ravel().tolist()
    return f' transform="{" ".join(f"{number:.9g}" for number in numbers)}"'


def _model_head(metadata: Mapping[str, str]) -> str:
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<model unit="millimeter" xml:lang="en-US" xmlns="{_CORE}">',
        *(f'<metadata name="{name}">{escape(text)}</metadata>' for name, text in metadata.items()),
    ]
    return "\n".join(lines) + "\n"


def _filled_metadata(given: Mapping[str, str]) -> dict[str, str]:
    unknown = [name for name in given if name not in METADATA_NAMES]
    if unknown:
        raise UsageError(
            f"'{unknown[0]}' is not a 3MF metadata name.", remedy=f"Use one of {', '.join(METADATA_NAMES)}."
        )
    description = given.get("Description", "")
    if cautions.RESEARCH_ONLY not in description:
        description = f"{description} {cautions.RESEARCH_ONLY}".strip()
    filled = {"Application": PRODUCED_BY, **given, "Description": description}
    return {name: _printable(filled[name]) for name in METADATA_NAMES if name in filled}


def _printable(text: str) -> str:
    """Return the text without the control characters that XML forbids."""
    return "".join(character for character in text if character in "\t\n" or ord(character) >= 0x20)


def _refuse_bad_names(names: Sequence[str]) -> None:
    if not names:
        raise OutputError("There is no part to write.", remedy="Give at least one part.")
    for name in names:
        if names.count(name) > 1 or not name.strip() or _printable(name) != name:
            raise UsageError(
                f"'{name}' cannot name a part of the file.", remedy="Give each part its own printable name."
            )


def _surface(mesh: ScanMesh | Solid) -> ScanMesh:
    surface = mesh.mesh if isinstance(mesh, Solid) else mesh
    if len(surface.faces) == 0:
        raise OutputError("The shape has no triangles to write.", remedy="Check the stage before.")
    return surface


def _solid_surface(part: NamedPart) -> ScanMesh:
    surface = _surface(part.mesh)
    if isinstance(part.mesh, Solid):
        return surface
    certificate = examine(surface)
    if not certificate.solid:
        raise NotASolidError(
            f"Part '{part.name}' cannot go into a 3MF file. {certificate.reason}",
            remedy="Mend it first ('mirrorprep mend') or write STL.",
        )
    return surface

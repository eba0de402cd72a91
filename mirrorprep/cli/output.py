"""Writing one mesh from the command line, by the extension of the file named."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from mirrorprep.solid.mesh import ScanMesh
    from mirrorprep.solid.solid import Solid

OutputFile = Annotated[
    Path, typer.Option("-o", "--output", metavar="FILE", help="File to write: .3mf, .stl or .ply.")
]
WRITTEN = (".3mf", ".stl", ".ply")


def refuse_unknown_format(path: Path) -> None:
    """Raise `UsageError` before any work when the extension cannot be written."""
    from mirrorprep.errors import UsageError

    if path.suffix.lower() not in WRITTEN:
        raise UsageError(
            f"'{path.name}' has no extension that can be written.",
            remedy=f"Use one of {', '.join(WRITTEN)}.",
        )


def write_mesh(shape: "ScanMesh | Solid", path: Path, *, overwrite: bool) -> Path:
    """Write a mesh in the format of the file's extension; 3MF takes solids only."""
    from mirrorprep.handover.files import NamedPart, write_3mf, write_ply, write_stl

    refuse_unknown_format(path)
    if path.suffix.lower() == ".3mf":
        return write_3mf([NamedPart(name="part", mesh=shape)], path, overwrite=overwrite)
    writer = write_stl if path.suffix.lower() == ".stl" else write_ply
    return writer(shape, path, overwrite=overwrite)

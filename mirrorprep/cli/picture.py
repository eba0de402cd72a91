"""Drawing a scan with the places of its findings from the command line."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from mirrorprep.solid.finding import Finding
    from mirrorprep.solid.mesh import ScanMesh
    from mirrorprep.solid.solid import Solid

PictureFile = Annotated[
    Path | None,
    typer.Option("--picture", metavar="FILE", help="PNG file that shows where each finding is."),
]


def refuse_unless_png(path: Path | None) -> None:
    """Raise `UsageError` before any work when the picture's name does not end in .png."""
    from mirrorprep.errors import UsageError

    if path is not None and path.suffix.lower() != ".png":
        raise UsageError(f"'{path.name}' is no name of a PNG file.", remedy="End it in .png.")


def write_picture(
    path: Path | None, shape: "ScanMesh | Solid", findings: "Sequence[Finding]", *, overwrite: bool
) -> None:
    """Draw a scan with its findings, if a file is named."""
    if path is None:
        return
    from mirrorprep.handover.atomic import write_bytes
    from mirrorprep.handover.pictures import picture_scan

    write_bytes(path, picture_scan(shape, findings), overwrite=overwrite)

"""The command ``verify-handover``."""

from pathlib import Path
from typing import Annotated

import typer

from mirrorprep.cli.console import Json, progress_bar, show

Folder = Annotated[Path, typer.Argument(metavar="DIR", help="Folder that a job handed over.")]


def verify_handover(folder: Folder, json: Json = False) -> None:
    """Recompute every digest and claim of a handed-over folder from its files alone."""
    from mirrorprep.job.verify import verify_handover as verify

    with progress_bar() as progress:
        result = verify(folder, progress=progress)
    words = {True: "holds", False: "DOES NOT HOLD", None: "not checked"}
    lines = [
        *((words[check.holds], f"{check.claim} ({check.measured})") for check in result.checks),
        ("verdict", "everything holds" if result.holds else f"{len(result.findings)} claims do not hold"),
    ]
    show(result.as_dict(), lines, as_json=json, findings=result.findings)
    if not result.holds:
        raise typer.Exit(6)

"""The command ``demo``."""

from pathlib import Path
from typing import Annotated

import typer

from mirrorprep.cli.console import Json, Overwrite, progress_bar
from mirrorprep.cli.run import show_job

OutputFolder = Annotated[Path, typer.Option("-o", "--out", metavar="DIR", help="Folder for the demo.")]
Detail = Annotated[str, typer.Option("--detail", help="full (about 200k triangles) or small.")]


def demo(
    out: OutputFolder = Path("demo_out"),
    detail: Detail = "full",
    overwrite: Overwrite = False,
    json: Json = False,
) -> None:
    """Make an invented head scan and run the whole job on it."""
    from mirrorprep.job.demo import run_demo

    with progress_bar() as progress:
        result = run_demo(out, detail=detail, overwrite=overwrite, progress=progress)
    show_job(result, as_json=json)

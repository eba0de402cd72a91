"""The command ``bench``."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from mirrorprep.cli.console import Json, show

if TYPE_CHECKING:
    from mirrorprep.bench.server import Place

Folder = Annotated[Path, typer.Argument(metavar="[FOLDER]", help="The job's folder; it is made when absent.")]
Port = Annotated[int, typer.Option("--port", min=0, max=65535, help="Port to listen on; 0 takes a free one.")]
NoBrowser = Annotated[bool, typer.Option("--no-browser", help="Print the address and open nothing.")]


def bench(
    folder: Folder = Path("bench_job"), port: Port = 0, no_browser: NoBrowser = False, json: Json = False
) -> None:
    """Do a whole job on a page in the browser; only this machine can reach it.

    The page changes the job file FOLDER/job.toml, which 'mirrorprep run' takes as well. Ctrl-C closes it.
    """
    import sys

    from mirrorprep.bench.server import serve

    def tell(place: "Place") -> None:
        result = {"address": place.address, "folder": str(folder)}
        show(result, [("bench", place.address), ("folder", folder)], as_json=json)
        sys.stdout.flush()

    serve(folder, port=port, browser=not no_browser, told=tell)

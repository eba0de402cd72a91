"""The command ``new``."""

from pathlib import Path
from typing import Annotated

import typer

from mirrorprep.cli.console import Overwrite

JobFile = Annotated[Path, typer.Argument(metavar="JOB", help="Job file to write.")]


def new(job: JobFile = Path("job.toml"), overwrite: Overwrite = False) -> None:
    """Write a commented job file to fill in."""
    from mirrorprep.handover.atomic import write_text
    from mirrorprep.job.jobfile import template

    write_text(job, template(), overwrite=overwrite)
    typer.echo(f"{job} written. Fill in [job] and [scan], then: mirrorprep run {job}")

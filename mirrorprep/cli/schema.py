"""The command ``schema``."""

import json

import typer


def schema() -> None:
    """Print the JSON schema of the job file."""
    from mirrorprep.job.schema import job_schema

    typer.echo(json.dumps(job_schema(), indent=2))

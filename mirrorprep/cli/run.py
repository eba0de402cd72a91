"""The command ``run``."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from mirrorprep.cli.console import Json, Overwrite, progress_bar, show

if TYPE_CHECKING:
    from mirrorprep.job.run import JobResult

JobFile = Annotated[Path, typer.Argument(metavar="JOB", help="Job file (TOML); 'mirrorprep new' writes one.")]
OutputFolder = Annotated[
    Path | None, typer.Option("-o", "--output", metavar="DIR", help="Folder for the results.")
]


Lesson = Annotated[bool, typer.Option("--lesson", help="Write the workflow as an illustrated lesson too.")]
KeepRegion = Annotated[
    Path | None,
    typer.Option("--keep-region", metavar="FILE", help="Crop away whatever of the scan lies outside."),
]


def run(
    job: JobFile,
    output: OutputFolder = None,
    lesson: Lesson = False,
    keep_region: KeepRegion = None,
    overwrite: Overwrite = False,
    json: Json = False,
) -> None:
    """Run a job from scan to verified mould and traveller."""
    from mirrorprep.job.jobfile import read_job

    read_job(job)
    from mirrorprep.job.run import run_job

    with progress_bar() as progress:
        result = run_job(
            job,
            folder=output,
            lesson=lesson,
            keep_region=keep_region,
            overwrite=overwrite,
            progress=progress,
        )
    show_job(result, as_json=json)


def show_job(result: "JobResult", *, as_json: bool) -> None:
    """Show what a job came to, and leave with the exit code of a stop."""
    findings = result.findings
    lines = [
        ("status", result.status),
        *(("stage", stage.name) for stage in result.stages),
        *(("written", path) for path in result.outputs),
    ]
    show(result.as_dict(), lines, as_json=as_json, findings=findings)
    result.require_done()

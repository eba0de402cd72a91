"""The command ``batch``."""

from pathlib import Path
from typing import Annotated

import typer

from mirrorprep.cli.console import Json, progress_bar, show

Source = Annotated[
    Path, typer.Argument(metavar="FOLDER|LIST.csv", help="Scans, or a list with the column 'file'.")
]
Template = Annotated[Path, typer.Option("--job", metavar="TEMPLATE.toml", help="Job to run on each scan.")]
OutputFolder = Annotated[Path, typer.Option("-o", "--output", metavar="DIR", help="Folder for the cohort.")]
Workers = Annotated[
    int | None,
    typer.Option("--workers", min=1, help="Processes, each on a core of its own. [default: one per core]"),
]
TimeLimit = Annotated[float, typer.Option("--time-limit-s", min=0.0, help="Limit per scan; 0 for none.")]
Scheduler = Annotated[
    str | None, typer.Option("--scheduler", metavar="ADDRESS", help="Run on this dask cluster instead.")
]
SharedFiles = Annotated[
    bool, typer.Option("--shared-files", help="The cluster sees the same files: send paths, not contents.")
]
Parquet = Annotated[bool, typer.Option("--parquet", help="Write the table as cohort.parquet too.")]


def batch(
    source: Source,
    job: Template,
    output: OutputFolder = Path("cohort"),
    workers: Workers = None,
    time_limit_s: TimeLimit = 0.0,
    scheduler: Scheduler = None,
    shared_files: SharedFiles = False,
    parquet: Parquet = False,
    json: Json = False,
) -> None:
    """Run one job per scan of a cohort; a batch that was stopped goes on where it stood."""
    from mirrorprep.job.batch import Cluster, run_batch
    from mirrorprep.job.cohort import parquet_library, write_parquet

    if parquet:
        parquet_library()
    with progress_bar() as progress:
        entries = run_batch(
            source,
            job,
            output,
            workers=workers,
            time_limit_s=time_limit_s,
            cluster=Cluster(address=scheduler, shared_files=shared_files) if scheduler else None,
            progress=progress,
        )
    if parquet:
        write_parquet(entries, output)
    rows = [
        {
            "code": entry.code,
            "state": entry.state,
            "exit_code": entry.exit_code,
            "message": entry.message,
            **entry.result.get("figures", {}),
        }
        for entry in entries
    ]
    states = [entry.state for entry in entries]
    result = {"scans": len(rows), **{s: states.count(s) for s in ("done", "stopped", "failed")}, "rows": rows}
    lines = [
        ("scans", len(rows)),
        ("summary", output / "cohort.html"),
        *((entry.code, f"{entry.state}  {entry.message}") for entry in entries),
    ]
    show(result, lines, as_json=json)

"""The demonstration job: an invented head with one ear, from its scan alone to a verified mould."""

from pathlib import Path

import demo_shapes
from mirrorprep.handover.atomic import output_folder, write_text
from mirrorprep.handover.files import write_ply
from mirrorprep.job.jobfile import job_from, template
from mirrorprep.job.run import JobResult, run_job
from mirrorprep.progress import SILENT, Progress


def run_demo(
    folder: Path | str, *, detail: str = "full", overwrite: bool = False, progress: Progress = SILENT
) -> JobResult:
    """Make the demo scan and its job file in `folder`, and run the job.

    Parameters
    ----------
    folder : path-like
        Gets ``head.ply``, ``job.toml`` and the results in ``handover``.
    detail : str
        ``full`` (about 200k triangles) or ``small``.
    overwrite : bool
        Replace files that exist.
    progress : Progress
        Reporter.

    Returns
    -------
    JobResult
        As from `run_job`.
    """
    place = output_folder(folder)
    file = lay_demo(place, detail=detail, overwrite=overwrite, progress=progress)
    return run_job(file, overwrite=overwrite, progress=progress.part(0.15, 1.0))


def lay_demo(
    folder: Path, *, detail: str = "full", overwrite: bool = False, progress: Progress = SILENT
) -> Path:
    """Write the demo scan and its job file into a folder that exists; return the job file.

    Parameters and errors as `run_demo`.
    """
    progress.step("making the demo scan", 0.0)
    head = demo_shapes.phantom_head(detail=detail)
    write_ply(head.scan, folder / "head.ply", overwrite=overwrite)
    job = job_from(
        {
            "job": {
                "code": "DEMO-1",
                "purpose": "demonstration",
                "human_data": False,
                "use": "Show the way from a scan to a mould.",
                "features": ["helix rim", "concha", "tragus"],
                "tolerance_mm": 0.5,
            },
            "scan": {"file": "head.ply", "units": "mm", "accuracy_mm": 0.1},
            "seating": {"seat": True},
        }
    )
    return write_text(folder / "job.toml", template(job), overwrite=overwrite)

"""The command ``mend``."""

from mirrorprep.cli.console import Json, Overwrite, ScanFile, Units, known, progress_bar, read, show
from mirrorprep.cli.output import OutputFile, refuse_unknown_format, write_mesh


def mend(
    scan: ScanFile, output: OutputFile, units: Units = None, overwrite: Overwrite = False, json: Json = False
) -> None:
    """Make a certified solid of a scan and say what was changed."""
    from mirrorprep.condition.mend import mend as mend_scan

    refuse_unknown_format(output)
    with progress_bar() as progress:
        result = mend_scan(read(scan, units), progress=progress)
    write_mesh(result.mesh if result.solid is None else result.solid, output, overwrite=overwrite)
    lines = (
        ("solid", "yes" if result.solid is not None else "no"),
        *((step.name, step.summary) for step in result.steps),
        ("moved", f"{result.moved_share:.2%} of the vertices, at most {result.max_displacement_mm:.3g} mm"),
        ("volume change", known(result.volume_change_mm3, "mm³")),
        ("written", output),
    )
    show({**result.as_dict(), "output": str(output)}, lines, as_json=json, findings=result.findings)

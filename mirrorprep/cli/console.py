"""What the commands share: options, reading a scan, and showing results."""

import json
import math
import sys
import time
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from mirrorprep.progress import Progress

if TYPE_CHECKING:
    from mirrorprep.solid.finding import Finding
    from mirrorprep.solid.mesh import ScanMesh
    from mirrorprep.solid.solid import Solid

_PATIENCE_S = 1.0

ScanFile = Annotated[Path, typer.Argument(metavar="SCAN", help="STL, PLY, OBJ, OFF, GLB or 3MF file.")]
Units = Annotated[
    str | None,
    typer.Option(
        "--units", metavar="UNIT", help="Unit of the numbers in the file: mm, cm, m, in, ft, micron."
    ),
]
Json = Annotated[bool, typer.Option("--json", help="Print one JSON object on standard output.")]
Overwrite = Annotated[bool, typer.Option("--overwrite", help="Replace files that exist.")]
Accuracy = Annotated[
    float | None,
    typer.Option("--accuracy-mm", metavar="MM", help="Accuracy of the scan, one standard deviation."),
]
Seed = Annotated[int, typer.Option("--seed", help="Seed of the search; the same seed gives the same result.")]


@contextmanager
def progress_bar() -> Iterator[Progress]:
    """Yield a reporter that draws a bar on standard error once the work has taken a second."""
    if not sys.stderr.isatty():
        yield Progress()
        return
    from rich.console import Console
    from rich.progress import BarColumn, TextColumn, TimeElapsedColumn
    from rich.progress import Progress as Bars

    bars = Bars(
        TextColumn("{task.description}"),
        BarColumn(),
        TimeElapsedColumn(),
        console=Console(stderr=True),
        transient=True,
    )
    task = bars.add_task("", total=1.0)
    began = time.monotonic()

    def report(label: str, fraction: float) -> None:
        if not bars.live.is_started and time.monotonic() - began > _PATIENCE_S:
            bars.start()
        bars.update(task, description=label, completed=fraction)

    try:
        yield Progress(report)
    finally:
        if bars.live.is_started:
            bars.stop()


def read(path: Path, units: str | None) -> "ScanMesh":
    """Read a scan in millimetres."""
    from mirrorprep.intake.read import read_scan

    return read_scan(path, units=units)


def read_solid(path: Path, units: str | None) -> "Solid":
    """Read a scan that must be a solid."""
    from mirrorprep.solid.certify import certify

    return certify(read(path, units))


def three_numbers(text: str | None, name: str) -> tuple[float, float, float] | None:
    """Return the numbers of a text such as ``0,0,1``.

    Raises
    ------
    UsageError
        If there are not three numbers.
    """
    from mirrorprep.errors import UsageError

    if text is None:
        return None
    try:
        x, y, z = (float(word) for word in text.split(","))
    except ValueError:
        raise UsageError(f"--{name} '{text}' is not a vector.", remedy="Write it as 0,0,1.") from None
    return x, y, z


def show(
    result: dict[str, Any],
    lines: Iterable[tuple[str, object]],
    *,
    as_json: bool,
    findings: "Sequence[Finding]" = (),
) -> None:
    """Print a result: one JSON object, or aligned lines and the findings."""
    if as_json:
        typer.echo(json.dumps(result, indent=2, allow_nan=False))
        return
    rows = [(label, str(value)) for label, value in lines]
    width = max((len(label) for label, _ in rows), default=0)
    for label, value in rows:
        typer.echo(f"{label:<{width}}  {value}")
    for finding in findings:
        typer.echo(f"\n{finding.severity.upper()}  {finding.code}\n  {finding.message}")
        if finding.remedy:
            typer.echo(f"  {finding.remedy}")


def vector(values: Iterable[float], digits: int = 2) -> str:
    """Return numbers as ``1.00, 2.00, 3.00``."""
    return ", ".join(f"{value:.{digits}f}" for value in values)


def known(value: float | None, unit: str, uncertainty: float | None = None) -> str:
    """Return a figure with its unit and the digits it supports, or 'unknown'."""
    from mirrorprep.units import supported_digits

    if value is None or not math.isfinite(value):
        return "unknown"
    text = supported_digits(value, uncertainty)
    spread = "" if uncertainty is None else f" ± {supported_digits(uncertainty, uncertainty)}"
    return f"{text}{spread} {unit}"


def amount(value: float, unit: str = "mm") -> str:
    """Return a figure of unknown uncertainty with two digits; what is below 0.001 of its unit says so."""
    from mirrorprep.handover.figure_text import value_words

    return value_words(float(f"{value:.2g}"), unit=unit)

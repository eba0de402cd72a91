"""The command ``measure``."""

from typing import Annotated

import typer

from mirrorprep.cli.console import Accuracy, Json, ScanFile, Units, known, progress_bar, read, show, vector

Density = Annotated[
    float | None, typer.Option("--density-g-cm3", metavar="G/CM3", help="Density for the mass.")
]


def measure(
    scan: ScanFile,
    units: Units = None,
    accuracy_mm: Accuracy = None,
    density_g_cm3: Density = None,
    json: Json = False,
) -> None:
    """Measure size, area, volume, mass and the thinnest wall."""
    from mirrorprep.measurement.measure import measure as measure_shape

    with progress_bar() as progress:
        result = measure_shape(
            read(scan, units), accuracy_mm=accuracy_mm, density_g_cm3=density_g_cm3, progress=progress
        )
    lines = (
        ("solid", "yes" if result.solid else "no"),
        ("volume", known(result.volume_mm3, "mm³", result.volume_sd_mm3)),
        ("area", known(result.area_mm2, "mm²")),
        ("mass", known(result.mass_g, "g", result.mass_sd_g)),
        ("thinnest wall", known(result.min_wall_mm, "mm", accuracy_mm)),
        ("size", f"{vector(result.size_mm)} mm"),
    )
    show(result.as_dict(), lines, as_json=json, findings=result.findings)

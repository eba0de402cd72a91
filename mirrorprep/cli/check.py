"""The command ``check``."""

from typing import TYPE_CHECKING, Annotated

import typer

from mirrorprep.cli.console import Accuracy, Json, Overwrite, ScanFile, Units, progress_bar, show, vector
from mirrorprep.cli.picture import PictureFile, refuse_unless_png, write_picture

if TYPE_CHECKING:
    from mirrorprep.condition.report import CheckReport

WeldWhenRead = Annotated[
    float | None,
    typer.Option(
        "--weld-mm", metavar="MM", help="Join vertices this close when reading; 0 joins those at one place."
    ),
]
Feature = Annotated[
    float | None, typer.Option("--feature-mm", metavar="MM", help="Smallest feature that must be kept.")
]


def check(
    scan: ScanFile,
    units: Units = None,
    weld_mm: WeldWhenRead = None,
    accuracy_mm: Accuracy = None,
    feature_mm: Feature = None,
    picture: PictureFile = None,
    overwrite: Overwrite = False,
    json: Json = False,
) -> None:
    """Say what a scan is and what is wrong with it, and where."""
    from mirrorprep.condition.check import check as check_scan
    from mirrorprep.intake.read import read_scan

    refuse_unless_png(picture)
    mesh = read_scan(scan, units=units, weld_mm=weld_mm)
    with progress_bar() as progress:
        report = check_scan(mesh, accuracy_mm=accuracy_mm, feature_mm=feature_mm, progress=progress)
    write_picture(picture, mesh, report.findings, overwrite=overwrite)
    data, lines = report.as_dict(), _lines(report)
    if picture is not None:
        data, lines = {**data, "picture": str(picture)}, [*lines, ("picture", picture)]
    show(data, lines, as_json=json, findings=report.findings)


def _lines(report: "CheckReport") -> list[tuple[str, object]]:
    spacing, noise = report.spacing_mm, report.noise_mm
    coarsest = f"{spacing:.2g} mm, enough for features of {3 * spacing:.2g} mm" if spacing else "unknown"
    crossing = f"{report.self_intersections}, and {report.neighbour_intersections} of neighbours"
    return [
        ("solid", "yes" if report.solid else "no"),
        ("triangles", f"{report.triangles:,}"),
        ("vertices", f"{report.vertices:,}"),
        ("bodies", report.bodies),
        ("open edges", report.open_edges),
        ("non-manifold edges", report.non_manifold_edges),
        ("flipped triangles", report.flipped_faces),
        ("triangles without area", report.degenerate_faces),
        ("repeated triangles", report.duplicate_faces),
        ("self-intersections", crossing),
        ("needles", report.spikes),
        ("size", f"{vector(report.size_mm)} mm (read in {report.units})"),
        ("suits", report.suits or "no usual scanner"),
        ("point spacing", coarsest),
        ("point noise", "unknown" if noise is None else f"about {noise:.1g} mm (one standard deviation)"),
    ]

"""The command ``check``."""

from mirrorprep.cli.console import Accuracy, Json, ScanFile, Units, progress_bar, read, show, vector


def check(scan: ScanFile, units: Units = None, accuracy_mm: Accuracy = None, json: Json = False) -> None:
    """Say what a scan is and what is wrong with it."""
    from mirrorprep.condition.check import check as check_scan

    with progress_bar() as progress:
        report = check_scan(read(scan, units), accuracy_mm=accuracy_mm, progress=progress)
    lines = (
        ("solid", "yes" if report.solid else "no"),
        ("triangles", f"{report.triangles:,}"),
        ("vertices", f"{report.vertices:,}"),
        ("bodies", report.bodies),
        ("open edges", report.open_edges),
        ("non-manifold edges", report.non_manifold_edges),
        ("self-intersections", report.self_intersections),
        ("size", f"{vector(report.size_mm)} mm (read in {report.units})"),
    )
    show(report.as_dict(), lines, as_json=json, findings=report.findings)

"""The command ``compare``."""

from pathlib import Path
from typing import Annotated

import typer

from mirrorprep.cli.console import Accuracy, Json, ScanFile, Seed, Units, known, progress_bar, read, show
from mirrorprep.cli.plane import Choose, LandmarksFile, RegionFile, find

Reference = Annotated[
    Path | None,
    typer.Argument(metavar="[REFERENCE]", help="Surface to measure against; left out, the mirrored scan."),
]
Tolerance = Annotated[
    float | None, typer.Option("--tolerance-mm", metavar="MM", help="Deviation that is accepted.")
]
Reach = Annotated[
    float, typer.Option("--reach-mm", metavar="MM", help="Beyond this a place has no counterpart.")
]
_BAR = 40


def compare(
    scan: ScanFile,
    reference: Reference = None,
    units: Units = None,
    tolerance_mm: Tolerance = None,
    accuracy_mm: Accuracy = None,
    reach_mm: Reach = 25.0,
    landmarks: LandmarksFile = None,
    region: RegionFile = None,
    choose: Choose = 1,
    seed: Seed = 0,
    json: Json = False,
) -> None:
    """Measure how far a surface lies from another, or a scan's one side from the other, mirrored."""
    from mirrorprep.seating.deviation import compare as compare_surfaces
    from mirrorprep.seating.natural_asymmetry import FACTS
    from mirrorprep.symmetry.mirroring import mirror

    shape = read(scan, units)
    if reference is None:
        plane = find(shape, landmarks=landmarks, region=region, choose=choose, seed=seed).plane
        other = mirror(shape, plane)
    else:
        other = read(reference, units)
    with progress_bar() as progress:
        progress.step("comparing", 0.0)
        result = compare_surfaces(
            shape, other, tolerance_mm=tolerance_mm, accuracy_mm=accuracy_mm, reach_mm=reach_mm
        )
    data = result.as_dict()
    if reference is None:
        facts = [{"text": fact.text, "reference": fact.reference} for fact in FACTS]
        data |= {"plane": plane.as_dict(), "natural_asymmetry": facts}
    within = result.within_share
    largest = float(result.bin_shares.max()) or 1.0
    lines = (
        ("RMS", known(result.rms_mm, "mm", accuracy_mm)),
        ("mean", f"{result.mean_mm:+.2g} mm (positive: outside the reference)"),
        ("95 % within", f"{result.p95_mm:.2g} mm"),
        ("largest", f"{result.largest_mm:.2g} mm"),
        ("with a counterpart", f"{result.matched_share:.0%} of the area"),
        ("within tolerance", "no tolerance stated" if within is None else f"{within:.1%}"),
        ("scan accuracy", known(accuracy_mm, "mm")),
        *(
            (f"{low:+.2f} to {high:+.2f} mm", "#" * round(_BAR * share / largest))
            for low, high, share in zip(
                result.bin_edges_mm[:-1], result.bin_edges_mm[1:], result.bin_shares, strict=True
            )
            if share > 0.0
        ),
    )
    show(data, lines, as_json=json, findings=result.findings)

"""The command ``compare``."""

import math
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from mirrorprep.cli.console import (
    Accuracy,
    Json,
    ScanFile,
    Seed,
    Units,
    amount,
    known,
    progress_bar,
    read,
    show,
)
from mirrorprep.cli.plane import Choose, LandmarksFile, RegionFile, find

if TYPE_CHECKING:
    from mirrorprep.seating.deviation import Deviation

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
_BAR, _LEAST_MM = 40, 0.001


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
    lines = _lines(result)
    if reference is None:
        facts = [{"text": fact.text, "reference": fact.reference} for fact in FACTS]
        data |= {"plane": plane.as_dict(), "natural_asymmetry": facts}
        lines += [("by nature", f"{fact.text} [{fact.reference}]") for fact in FACTS]
    show(data, lines, as_json=json, findings=result.findings)


def _lines(result: "Deviation") -> list[tuple[str, object]]:
    within, shares = result.within_share, result.bin_shares
    mean = amount(abs(result.mean_mm))
    lines: list[tuple[str, object]] = [
        ("RMS", amount(result.rms_mm)),
        ("mean", f"{mean} {'inside' if result.mean_mm < 0.0 else 'outside'} the reference"),
        ("95 % within", amount(result.p95_mm)),
        ("largest", amount(result.largest_mm)),
        ("with a counterpart", f"{result.matched_share:.0%} of the area"),
        ("within tolerance", "no tolerance stated" if within is None else f"{within:.1%}"),
        ("scan accuracy", known(result.accuracy_mm, "mm")),
    ]
    width = float(result.bin_edges_mm[1] - result.bin_edges_mm[0])
    if result.largest_mm < _LEAST_MM:
        return lines
    digits = max(2, math.ceil(-math.log10(width)) + 1)
    return lines + [
        (f"{low:+.{digits}f} to {high:+.{digits}f} mm", "#" * round(_BAR * share / float(shares.max())))
        for low, high, share in zip(result.bin_edges_mm[:-1], result.bin_edges_mm[1:], shares, strict=True)
        if share > 0.0
    ]

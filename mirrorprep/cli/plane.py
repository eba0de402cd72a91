"""The command ``plane``."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from mirrorprep.cli.console import Json, ScanFile, Seed, Units, progress_bar, read, show, vector

if TYPE_CHECKING:
    from mirrorprep.solid.mesh import ScanMesh
    from mirrorprep.symmetry.result import MirrorPlaneResult

LandmarksFile = Annotated[
    Path | None, typer.Option("--landmarks", metavar="FILE", help="Midline points and left-right pairs.")
]
RegionFile = Annotated[
    Path | None, typer.Option("--region", metavar="FILE", help="Region of the scan to use or to leave out.")
]
Choose = Annotated[int, typer.Option("--choose", min=1, help="Take this plane of the ranked list.")]


def plane(
    scan: ScanFile,
    units: Units = None,
    landmarks: LandmarksFile = None,
    region: RegionFile = None,
    choose: Choose = 1,
    seed: Seed = 0,
    json: Json = False,
) -> None:
    """Find the mirror plane of a scan and say how far to trust it."""
    result = find(read(scan, units), landmarks=landmarks, region=region, choose=choose, seed=seed)
    lines = (
        ("status", result.status),
        ("normal", vector(result.plane.normal, 6)),
        ("offset", f"{result.plane.offset_mm:.3f} mm"),
        ("uncertainty", f"{result.sd_deg:.2g}° and {result.sd_mm:.2g} mm (one standard deviation)"),
        ("asymmetry", f"{result.asymmetry_rms_mm:.2g} mm RMS"),
        ("matched area", f"{result.matched_share:.0%}"),
        *(
            (
                f"choice {number}",
                f"{vector(other.plane.normal, 4)}, {other.plane.offset_mm:.2f} mm, score {other.score:.3f}",
            )
            for number, other in enumerate(result.alternatives, start=1)
        ),
    )
    show(result.as_dict(), lines, as_json=json, findings=result.findings)


def find(
    mesh: "ScanMesh", *, landmarks: Path | None, region: Path | None, choose: int, seed: int
) -> "MirrorPlaneResult":
    """Search the plane with the optional files read."""
    from mirrorprep.symmetry.landmarks import read_landmarks
    from mirrorprep.symmetry.region import read_region
    from mirrorprep.symmetry.search import find_mirror_plane

    with progress_bar() as progress:
        return find_mirror_plane(
            mesh,
            landmarks=None if landmarks is None else read_landmarks(landmarks),
            region=None if region is None else read_region(region),
            seed=seed,
            choose=choose,
            progress=progress,
        )

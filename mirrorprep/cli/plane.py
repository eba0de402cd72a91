"""The command ``plane``."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from mirrorprep.cli.console import Json, Overwrite, ScanFile, Seed, Units, progress_bar, read, show, vector
from mirrorprep.cli.picture import refuse_unless_png

if TYPE_CHECKING:
    from mirrorprep.solid.mesh import ScanMesh
    from mirrorprep.symmetry.result import MirrorPlaneResult

LandmarksFile = Annotated[
    Path | None, typer.Option("--landmarks", metavar="FILE", help="Midline points and left-right pairs.")
]
RegionFile = Annotated[
    Path | None, typer.Option("--region", metavar="FILE", help="Region of the scan to use or to leave out.")
]
PlanePicture = Annotated[
    Path | None,
    typer.Option("--picture", metavar="FILE", help="PNG file: plane, other planes, left-right difference."),
]
Choose = Annotated[int, typer.Option("--choose", min=1, help="Take this plane of the ranked list.")]


def plane(
    scan: ScanFile,
    units: Units = None,
    landmarks: LandmarksFile = None,
    region: RegionFile = None,
    choose: Choose = 1,
    seed: Seed = 0,
    picture: PlanePicture = None,
    overwrite: Overwrite = False,
    json: Json = False,
) -> None:
    """Find the mirror plane of a scan and say how far to trust it."""
    refuse_unless_png(picture)
    mesh = read(scan, units)
    result = find(mesh, landmarks=landmarks, region=region, choose=choose, seed=seed)
    if picture is not None:
        _draw(picture, mesh, result, overwrite=overwrite)
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
    drawn = {} if picture is None else {"picture": str(picture)}
    show({**result.as_dict(), **drawn}, (*lines, *drawn.items()), as_json=json, findings=result.findings)


def _draw(path: Path, mesh: "ScanMesh", result: "MirrorPlaneResult", *, overwrite: bool) -> None:
    from mirrorprep.handover.atomic import write_bytes
    from mirrorprep.handover.pictures import picture_plane
    from mirrorprep.symmetry.asymmetry import asymmetry_map

    ranked = enumerate(result.alternatives, start=1)
    others = {str(number): other.plane for number, other in ranked if number != result.choice}
    png = picture_plane(
        mesh, result.plane, list(others.values()), asymmetry_map(mesh, result.plane), names=list(others)
    )
    write_bytes(path, png, overwrite=overwrite)


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

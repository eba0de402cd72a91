"""The command ``mirror``."""

from pathlib import Path
from typing import Annotated

import typer

from mirrorprep.cli.console import (
    Json,
    Overwrite,
    ScanFile,
    Seed,
    Units,
    known,
    read,
    show,
    three_numbers,
    vector,
)
from mirrorprep.cli.output import OutputFile, refuse_unknown_format, write_mesh
from mirrorprep.cli.plane import Choose, LandmarksFile, RegionFile, find

PlaneFrom = Annotated[
    Path | None,
    typer.Option("--plane-from", metavar="SCAN", help="Find the plane on this scan (say, the head) instead."),
]
Normal = Annotated[str | None, typer.Option("--normal", metavar="X,Y,Z", help="State the plane's normal.")]
Offset = Annotated[float, typer.Option("--offset-mm", metavar="MM", help="Offset of a stated plane.")]


def mirror(
    scan: ScanFile,
    output: OutputFile,
    units: Units = None,
    plane_from: PlaneFrom = None,
    normal: Normal = None,
    offset_mm: Offset = 0.0,
    landmarks: LandmarksFile = None,
    region: RegionFile = None,
    choose: Choose = 1,
    seed: Seed = 0,
    overwrite: Overwrite = False,
    json: Json = False,
) -> None:
    """Mirror a scan, right side out, across its own plane, that of another scan or a stated one."""
    import numpy as np

    from mirrorprep.solid.certify import examine
    from mirrorprep.solid.plane import Plane
    from mirrorprep.symmetry.mirroring import mirror as mirror_shape

    refuse_unknown_format(output)
    shape = read(scan, units)
    stated = three_numbers(normal, "normal")
    findings = shape.origin.findings
    if stated is not None:
        plane = Plane(normal=np.array(stated), offset_mm=offset_mm)
    else:
        source = shape if plane_from is None else read(plane_from, units)
        found = find(source, landmarks=landmarks, region=region, choose=choose, seed=seed)
        plane, findings = found.plane, found.findings
    image = mirror_shape(shape, plane)
    certificate = examine(image)
    volume = certificate.signed_volume_mm3 if certificate.solid else None
    write_mesh(image, output, overwrite=overwrite)
    result = {
        "plane": plane.as_dict(),
        "volume_mm3": volume,
        "output": str(output),
        "findings": [finding.as_dict() for finding in findings],
    }
    lines = (
        ("plane", f"{vector(plane.normal, 6)}, {plane.offset_mm:.3f} mm"),
        ("volume", known(volume, "mm³") if volume is not None else f"unknown: {certificate.reason}"),
        ("written", output),
    )
    show(result, lines, as_json=json, findings=findings)

"""The command ``seat``."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from mirrorprep.cli.console import (
    Accuracy,
    Json,
    Overwrite,
    ScanFile,
    Seed,
    Units,
    amount,
    known,
    progress_bar,
    read,
    show,
    three_numbers,
    vector,
)
from mirrorprep.cli.output import OutputFile, refuse_unknown_format, write_mesh
from mirrorprep.cli.plane import Choose, LandmarksFile, find

if TYPE_CHECKING:
    from mirrorprep.seating.landmark_pairs import LandmarkPairs
    from mirrorprep.seating.result import Seating
    from mirrorprep.seating.settings import DonorRegion
    from mirrorprep.solid.mesh import ScanMesh
    from mirrorprep.solid.plane import Plane
    from mirrorprep.solid.solid import Solid

Recipient = Annotated[
    Path | None, typer.Option("--recipient", metavar="SCAN", help="Second scan, of the recipient side.")
]
DonorMarks = Annotated[
    Path | None, typer.Option("--donor-landmarks", metavar="FILE", help="Landmarks that join two scans.")
]
RecipientMarks = Annotated[
    Path | None, typer.Option("--recipient-landmarks", metavar="FILE", help="The same on the recipient.")
]
Normal = Annotated[
    str | None, typer.Option("--normal", metavar="X,Y,Z", help="State the mirror plane's normal.")
]
Offset = Annotated[float, typer.Option("--offset-mm", metavar="MM", help="Offset of a stated plane.")]
Loop = Annotated[
    Path | None, typer.Option("--loop", metavar="FILE", help="Region inside a closed loop of points.")
]
Sphere = Annotated[
    str | None, typer.Option("--sphere", metavar="X,Y,Z,R", help="Region inside a sphere, mm.")
]
Box = Annotated[
    str | None, typer.Option("--box", metavar="X,Y,Z,X,Y,Z", help="Region inside a box, two corners, mm.")
]
CutPlane = Annotated[
    str | None, typer.Option("--cut-plane", metavar="X,Y,Z,D", help="Region in front of a plane, mm.")
]
Edge = Annotated[float, typer.Option("--edge-mm", help="Thickness of the margin at its rim.")]
EdgeWidth = Annotated[float, typer.Option("--edge-width-mm", help="Width over which it thins.")]
Floor = Annotated[float, typer.Option("--floor-mm", help="Least thickness over the skin elsewhere.")]
Gap = Annotated[float, typer.Option("--gap-mm", help="Room for adhesive on the back.")]
MostShift = Annotated[float, typer.Option("--most-shift-mm", help="How far settling may move the part.")]
MostTurn = Annotated[float, typer.Option("--most-turn-deg", help="How far it may turn it.")]
Tolerance = Annotated[float | None, typer.Option("--tolerance-mm", help="Deviation that is accepted.")]
Features = Annotated[
    Literal["none", "holes", "posts"], typer.Option("--retention", help="Features on the back.")
]


def seat(
    scan: ScanFile,
    output: OutputFile,
    units: Units = None,
    recipient: Recipient = None,
    donor_landmarks: DonorMarks = None,
    recipient_landmarks: RecipientMarks = None,
    landmarks: LandmarksFile = None,
    normal: Normal = None,
    offset_mm: Offset = 0.0,
    choose: Choose = 1,
    seed: Seed = 0,
    loop: Loop = None,
    sphere: Sphere = None,
    box: Box = None,
    cut_plane: CutPlane = None,
    edge_mm: Edge = 0.5,
    edge_width_mm: EdgeWidth = 4.0,
    floor_mm: Floor = 0.8,
    gap_mm: Gap = 0.0,
    retention: Features = "none",
    most_shift_mm: MostShift = 3.0,
    most_turn_deg: MostTurn = 3.0,
    tolerance_mm: Tolerance = None,
    accuracy_mm: Accuracy = None,
    overwrite: Overwrite = False,
    json: Json = False,
) -> None:
    """Cut the healthy part out of a scan, mirror it and seat it on the recipient's skin."""
    from mirrorprep.seating.seat import seat as seat_part
    from mirrorprep.seating.settings import Retention, SeatSettings

    refuse_unknown_format(output)
    settings = SeatSettings(
        region=_region(loop, sphere, box, cut_plane),
        edge_mm=edge_mm,
        edge_width_mm=edge_width_mm,
        floor_mm=floor_mm,
        gap_mm=gap_mm,
        retention=Retention(kind=retention),
        most_shift_mm=most_shift_mm,
        most_turn_deg=most_turn_deg,
        tolerance_mm=tolerance_mm,
        accuracy_mm=accuracy_mm,
    )
    donor = read(scan, units)
    other = donor if recipient is None else read(recipient, units)
    by: Plane | LandmarkPairs | None = _pairs(donor_landmarks, recipient_landmarks)
    by = by or _stated(normal, offset_mm)
    if by is None:
        by = find(donor, landmarks=landmarks, region=None, choose=choose, seed=seed).plane
    with progress_bar() as progress:
        body = _closed(other)
        result = seat_part(donor, other, by, body=body, settings=settings, progress=progress)
    _refuse_stopped(result)
    write_mesh(result.part, output, overwrite=overwrite)
    data = {**result.as_dict(), "output": str(output)}
    show(data, _lines(result, output), as_json=json, findings=result.findings)


def _region(loop: Path | None, sphere: str | None, box: str | None, cut_plane: str | None) -> "DonorRegion":
    from mirrorprep.errors import UsageError
    from mirrorprep.seating.loop import read_loop
    from mirrorprep.seating.settings import DonorRegion

    if sum(option is not None for option in (loop, sphere, box, cut_plane)) > 1:
        raise UsageError(
            "More than one region is stated.", remedy="Use one of --loop, --sphere, --box, --cut-plane."
        )
    if loop is not None:
        return DonorRegion(kind="loop", loop_mm=read_loop(loop))
    for kind, option, text in (
        ("sphere", "sphere", sphere),
        ("box", "box", box),
        ("plane", "cut-plane", cut_plane),
    ):
        if text is not None:
            return DonorRegion(kind=kind, numbers=_numbers(text, option))
    return DonorRegion()


def _numbers(text: str, option: str) -> tuple[float, ...]:
    from mirrorprep.errors import UsageError

    try:
        return tuple(float(word) for word in text.split(","))
    except ValueError:
        raise UsageError(
            f"--{option} '{text}' holds something that is no number.", remedy="Write numbers with commas."
        ) from None


def _pairs(donor: Path | None, recipient: Path | None) -> "LandmarkPairs | None":
    from mirrorprep.errors import UsageError
    from mirrorprep.seating.landmark_pairs import pair_landmarks, read_sided_points

    if donor is None and recipient is None:
        return None
    if donor is None or recipient is None:
        raise UsageError(
            "Only one landmark file is named.",
            remedy="Give --donor-landmarks and --recipient-landmarks, or neither.",
        )
    return pair_landmarks(read_sided_points(donor), read_sided_points(recipient))


def _stated(normal: str | None, offset_mm: float) -> "Plane | None":
    import numpy as np

    from mirrorprep.solid.plane import Plane

    stated = three_numbers(normal, "normal")
    return None if stated is None else Plane(normal=np.array(stated), offset_mm=offset_mm)


def _closed(mesh: "ScanMesh") -> "Solid":
    """Return the recipient as a solid, mended where it is none."""
    from mirrorprep.condition.mend import mend
    from mirrorprep.errors import NotASolidError
    from mirrorprep.solid.certify import certify, examine

    if examine(mesh).solid:
        return certify(mesh)
    mended = mend(mesh).solid
    if mended is None:
        raise NotASolidError(
            "The recipient is no solid and could not be made one.", remedy="See 'mirrorprep check'."
        )
    return mended


def _refuse_stopped(result: "Seating") -> None:
    """Raise, before anything is written, when a finding stops the work."""
    from mirrorprep.errors import StoppedByFindingError
    from mirrorprep.solid.finding import Severity

    for finding in result.findings:
        if finding.severity is Severity.STOP:
            raise StoppedByFindingError(finding.message, remedy=finding.remedy)


def _lines(result: "Seating", output: Path) -> tuple[tuple[str, object], ...]:
    from mirrorprep.seating.fit_report import back_words

    ring, healthy, back = result.ring, result.healthy, result.back
    within = healthy.within_share
    moved = f"{amount(ring.shift_mm)} and {amount(ring.turn_deg, '°')}"
    return (
        ("volume", known(result.volume_mm3, "mm³")),
        ("size", f"{vector(result.part.mesh.size_mm)} mm"),
        *_landmark_lines(result),
        ("settled by", f"{moved}, in {ring.freedoms} of 6 freedoms"),
        ("ring against skin", f"{amount(ring.rms_mm)} RMS"),
        ("sides differ by", f"{amount(healthy.rms_mm)} RMS, 95 % within {amount(healthy.p95_mm)}"),
        ("within tolerance", "no tolerance stated" if within is None else f"{within:.1%}"),
        ("scan accuracy", known(healthy.accuracy_mm, "mm")),
        ("back", back_words(back.largest_error_mm, back.gap_mm)),
        ("skin in the way", amount(result.undercut.largest_mm)),
        ("written", output),
    )


def _landmark_lines(result: "Seating") -> tuple[tuple[str, object], ...]:
    if result.landmarks is None:
        return ()
    residuals = ", ".join(f"{name} {miss:.2g}" for name, miss in result.landmarks.residual_mm.items())
    return (("landmarks miss by", f"{result.landmarks.rms_mm:.2g} mm RMS ({residuals} mm)"),)

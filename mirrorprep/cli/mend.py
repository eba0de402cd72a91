"""The command ``mend``."""

from enum import StrEnum
from typing import TYPE_CHECKING, Annotated

import typer

from mirrorprep.cli.console import Json, Overwrite, ScanFile, Units, known, progress_bar, read, show
from mirrorprep.cli.output import OutputFile, refuse_unknown_format, write_mesh
from mirrorprep.cli.picture import PictureFile, refuse_unless_png, write_picture

if TYPE_CHECKING:
    from mirrorprep.condition.mend import MendResult


class StepName(StrEnum):
    """The steps of mending, in order."""

    WELD = "weld"
    DROP_FAULTY_FACES = "drop-faulty-faces"
    DROP_ISLANDS = "drop-islands"
    ORIENT = "orient"
    SPLIT = "split"
    FLATTEN_SPIKES = "flatten-spikes"
    FILL_HOLES = "fill-holes"
    REMOVE_SELF_INTERSECTIONS = "remove-self-intersections"


Skip = Annotated[
    list[StepName] | None, typer.Option("--skip", metavar="STEP", help="Leave a step out; may be repeated.")
]
Weld = Annotated[
    float | None,
    typer.Option(
        "--weld-mm", metavar="MM", help="Join open edges this close; else a millionth of the diagonal."
    ),
]
Islands = Annotated[
    float, typer.Option("--island-share", help="Bodies of less than this share of the largest area go.")
]
OpenIslands = Annotated[float, typer.Option("--open-island-share", help="The same for open bodies.")]
Slenderness = Annotated[
    float, typer.Option("--spike-slenderness", help="Least height of a needle over its foot's radius.")
]
SmoothAngle = Annotated[
    float,
    typer.Option(
        "--smooth-angle-deg", metavar="DEG", help="Holes the surface meets flatter than this are continued."
    ),
]
Remake = Annotated[
    float | None,
    typer.Option("--remake-mm", metavar="MM", help="Last resort: remake the surface at this spacing."),
]
MostAdded = Annotated[
    float, typer.Option("--most-added-share", help="Refuse when more of the area would be made up.")
]
MostDropped = Annotated[
    float, typer.Option("--most-dropped-share", help="Refuse when more of the area would be dropped.")
]
MostMoved = Annotated[
    float | None,
    typer.Option("--most-moved-mm", metavar="MM", help="Refuse when a vertex would move further."),
]
Smooth = Annotated[
    float | None,
    typer.Option("--smooth-mm", metavar="MM", help="Then even out noise; no vertex moves further."),
]
Decimate = Annotated[
    float | None,
    typer.Option("--decimate-mm", metavar="MM", help="Then drop triangles within this tolerance."),
]
Triangles = Annotated[
    int | None, typer.Option("--triangles", metavar="N", help="Then drop triangles until N are left at most.")
]
AllowOpen = Annotated[
    bool, typer.Option("--allow-open", help="Write the mesh even if it did not become a solid.")
]


def mend(
    scan: ScanFile,
    output: OutputFile,
    units: Units = None,
    skip: Skip = None,
    weld_mm: Weld = None,
    island_share: Islands = 0.005,
    open_island_share: OpenIslands = 0.02,
    spike_slenderness: Slenderness = 2.5,
    smooth_angle_deg: SmoothAngle = 60.0,
    remake_mm: Remake = None,
    most_added_share: MostAdded = 0.5,
    most_dropped_share: MostDropped = 0.25,
    most_moved_mm: MostMoved = None,
    smooth_mm: Smooth = None,
    decimate_mm: Decimate = None,
    triangles: Triangles = None,
    picture: PictureFile = None,
    allow_open: AllowOpen = False,
    overwrite: Overwrite = False,
    json: Json = False,
) -> None:
    """Make a certified solid of a scan and say what was changed.

    The steps, in order; '--skip' leaves one out:

    - weld: join vertices at one place, on open edges also within '--weld-mm'

    - drop-faulty-faces: drop triangles that repeat a vertex or another triangle

    - drop-islands: drop bodies far smaller than the largest

    - orient: turn triangles like their neighbours and bodies outward

    - split: take vertices and edges apart that more than one sheet shares

    - flatten-spikes: move single needles into the surface

    - fill-holes: continue the surface over holes, cap tube ends and cut bases

    - remove-self-intersections: cut along crossings, smooth small folds

    - remake: only with '--remake-mm', if the steps before leave no clean solid: a new surface
    """
    from mirrorprep.cli.finishing import Finishing, finished
    from mirrorprep.condition.mend import MendSettings
    from mirrorprep.condition.mend import mend as mend_scan
    from mirrorprep.errors import StoppedByFindingError

    refuse_unknown_format(output)
    refuse_unless_png(picture)
    settings = MendSettings(
        **{name.replace("-", "_"): False for name in skip or ()},
        weld_mm=weld_mm,
        island_share=island_share,
        open_island_share=open_island_share,
        spike_slenderness=spike_slenderness,
        smooth_angle_deg=smooth_angle_deg,
        remake_mm=remake_mm,
        most_added_share=most_added_share,
        most_dropped_share=most_dropped_share,
        most_moved_mm=most_moved_mm,
    )
    with progress_bar() as progress:
        result = mend_scan(read(scan, units), steps=settings, progress=progress)
        shape = result.mesh if result.solid is None else result.solid
        refused = result.solid is None and not allow_open
        more = Finishing(shape)
        if not refused:
            more = finished(
                shape, smooth_mm=smooth_mm, decimate_mm=decimate_mm, triangles=triangles, progress=progress
            )
            write_mesh(more.shape, output, overwrite=overwrite)
    write_picture(picture, shape, (*result.findings, *result.notes), overwrite=overwrite)
    data = {**result.as_dict(), **more.data, "output": None if refused else str(output)}
    lines = (*_lines(result), *more.lines, ("written", "nothing" if refused else output))
    show(data, lines, as_json=json, findings=result.findings)
    if refused:
        raise StoppedByFindingError(
            "The scan did not become a solid; nothing was written.",
            remedy="Write it as it is with '--allow-open', or see the findings.",
        )


def _lines(result: "MendResult") -> tuple[tuple[str, str], ...]:
    moved = f"{result.moved_share:.2%} of the vertices"
    if result.moved_share:
        moved += f", by {result.max_displacement_mm:.2g} mm at most, {result.rms_displacement_mm:.2g} mm RMS"
    volume, change = result.volume_mm3, result.volume_change_mm3
    changed = "unknown, the scan was open" if change is None else known(change, "mm³")
    if change and volume:
        changed = f"{change:+.3g} mm³ ({change / volume:+.2g} of the volume)"
    return (
        ("solid", "yes" if result.solid is not None else "no"),
        *((step.name, step.summary) for step in result.steps),
        ("moved", moved),
        ("made up", f"{result.added_share:.2%} of the area"),
        ("dropped", f"{result.dropped_share:.2%} of the area"),
        ("volume", known(volume, "mm³")),
        ("volume change", changed),
    )

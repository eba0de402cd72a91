"""The command ``mould``."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from mirrorprep.cli.console import (
    Json,
    Overwrite,
    ScanFile,
    Units,
    known,
    progress_bar,
    read_solid,
    show,
    three_numbers,
    vector,
)

if TYPE_CHECKING:
    from mirrorprep.job.mould_files import MouldFiles
    from mirrorprep.mould.proof import Proof
    from mirrorprep.mould.result import Half, Mould

OutputFolder = Annotated[Path, typer.Option("-o", "--output", metavar="DIR", help="Folder for the files.")]
Body = Annotated[str, typer.Option("--body", help="Outside of the mould: shell, block or cylinder.")]
Parting = Annotated[str, typer.Option("--parting", help="Parting surface: auto, plane or contour.")]
Casting = Annotated[str, typer.Option("--casting", help="Casting material: flexible or rigid.")]
Pull = Annotated[
    str | None, typer.Option("--pull", metavar="X,Y,Z", help="Pull direction; searched if left out.")
]
Up = Annotated[
    str | None, typer.Option("--up", metavar="X,Y,Z", help="Up while pouring; searched if left out.")
]
Wall = Annotated[float, typer.Option("--wall-mm", help="Least wall between cavity and outside.")]
Shrinkage = Annotated[
    float, typer.Option("--shrinkage", help="Linear shrinkage of the casting: 0.01 is 1 %.")
]
Process = Annotated[str, typer.Option("--process", help="Print process: fff, sla or sls.")]
Bolts = Annotated[str, typer.Option("--bolts", help="Clamp bolts: none, M3, M4, M5 ...")]
Bed = Annotated[
    str | None,
    typer.Option("--bed", metavar="X,Y,Z", help="Room of the printer in mm; a larger half is divided."),
]
SafeStrain = Annotated[
    float, typer.Option("--safe-strain", help="Strain that a flexible casting is trusted with: 0.5 is 50 %.")
]
Pictures = Annotated[
    bool, typer.Option("--pictures", help="Draw the pull directions, draft, undercuts and the mould too.")
]
Waive = Annotated[
    list[str] | None,
    typer.Option("--waive", metavar="CODE", help="Accept a finding that would stop the job."),
]


def mould(
    scan: ScanFile,
    output: OutputFolder,
    units: Units = None,
    body: Body = "shell",
    parting: Parting = "auto",
    casting: Casting = "flexible",
    pull: Pull = None,
    up: Up = None,
    wall_mm: Wall = 6.0,
    shrinkage: Shrinkage = 0.0,
    process: Process = "fff",
    bolts: Bolts = "M4",
    bed: Bed = None,
    safe_strain: SafeStrain = 0.5,
    pictures: Pictures = False,
    waive: Waive = None,
    overwrite: Overwrite = False,
    json: Json = False,
) -> None:
    """Build a two-part mould around a solid, write it, read it back and prove it."""
    from mirrorprep.job.stages import distinct
    from mirrorprep.mould.build import build_mould
    from mirrorprep.mould.settings import mould_settings

    settings = mould_settings(
        {
            "body": body,
            "parting": parting,
            "casting": casting,
            "pull_direction": three_numbers(pull, "pull"),
            "pour_up": three_numbers(up, "up"),
            "wall_mm": wall_mm,
            "shrinkage": shrinkage,
            "process": process,
            "bolts": bolts,
            "safe_strain": safe_strain,
            **({} if bed is None else {"bed_mm": three_numbers(bed, "bed")}),
        }
    )
    if pictures:
        _require_drawing()
    with progress_bar() as progress:
        made = build_mould(read_solid(scan, units), settings=settings, progress=progress.part(0.0, 0.7))
        stopped = _stops(made, waive or [])
        files = None if stopped else _write(made, output, (overwrite, pictures), progress)
    findings = made.findings if files is None else (*made.findings, *files.findings)
    show(_result(made, files), _lines(made, files), as_json=json, findings=distinct(findings))
    if stopped or files is None:
        raise typer.Exit(6)
    if not files.sound:
        raise typer.Exit(5)


def _require_drawing() -> None:
    from mirrorprep.errors import OutputError
    from mirrorprep.handover.display import drawing_finding

    missing = drawing_finding()
    if missing is not None:
        raise OutputError(missing.message, remedy="Leave out --pictures, or draw on another machine.")


def _stops(made: "Mould", waived: list[str]) -> bool:
    from mirrorprep.solid.finding import Severity

    return any(f.severity is Severity.STOP and f.code not in waived for f in made.findings)


def _write(made: "Mould", output: Path, asked: tuple[bool, bool], progress: Any) -> "MouldFiles":  # noqa: ANN401
    from mirrorprep.handover.atomic import write_bytes
    from mirrorprep.job.mould_files import prove_written, refuse_existing, write_mould
    from mirrorprep.job.mould_record import mould_record

    if asked[1]:
        from mirrorprep.job.mould_pictures import mould_drawers
    overwrite, pictures = asked
    record = mould_record(made)
    drawn = [drawer(record) for drawer in mould_drawers(record)] if pictures else []
    places = [output / f"{picture.name}.png" for picture in drawn]
    refuse_existing(places, overwrite=overwrite)
    written = write_mould(record, output, overwrite=overwrite)
    for picture, place in zip(drawn, places, strict=True):
        write_bytes(place, picture.png, overwrite=overwrite)
    return prove_written(record, written, progress=progress.part(0.7, 1.0))


def _result(made: "Mould", files: "MouldFiles | None") -> dict[str, Any]:
    result: dict[str, Any] = made.as_dict()
    if files is not None:
        for half, path in zip(result["halves"], files.files.halves, strict=True):
            half["file"] = str(path)
        result["files"] = [str(path) for path in files.files.all]
        result["proof_of_files"] = files.as_dict()
    return result


def _opening_words(proof: "Proof", *, flexible: bool) -> str:
    if proof.releases:
        return "yes"
    amount = f"{proof.release_interference_mm3:.3g} mm³"
    return f"by flexing: the casting gives way to {amount}" if flexible else f"no: {amount} in the way"


def _half_words(half: "Half") -> str:
    pieces = f", in {len(half.pieces)} pieces for the bed" if half.pieces else ""
    return f"{half.volume_mm3:.0f} mm³, {half.triangles:,} triangles{pieces}"


def _lines(made: "Mould", files: "MouldFiles | None") -> list[tuple[str, object]]:
    proof = made.proof if files is None else files.proof
    lines: list[tuple[str, object]] = [
        ("parting", f"{made.parting.kind}, pull {vector(made.pull_direction, 4)}"),
        ("trapped", known(made.trapped_mm3, "mm³")),
        ("cavity", known(made.cavity_volume_mm3, "mm³")),
        *((half.name, _half_words(half)) for half in made.halves),
        ("opens", _opening_words(proof, flexible=made.settings.casting == "flexible")),
        ("air pockets", f"{sum(not pocket.vented for pocket in made.air_pockets)} without a vent"),
    ]
    if files is None:
        return [*lines, ("written", "nothing: see the finding that stops it")]
    return [
        *lines,
        ("proof of files", "holds" if files.sound else "fails"),
        ("written", files.files.package.parent),
    ]

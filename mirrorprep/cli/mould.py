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
from mirrorprep.errors import UsageError

if TYPE_CHECKING:
    from mirrorprep.job.mould_files import MouldFiles
    from mirrorprep.mould.proof import Proof
    from mirrorprep.mould.result import Half, Mould

_OTHER_PULLS = 3

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
    str,
    typer.Option(
        "--shrinkage",
        metavar="S|X,Y,Z",
        help="Linear shrinkage of the casting, 0.01 is 1 %; one, or per axis.",
    ),
]
Process = Annotated[str, typer.Option("--process", help="Print process: fff, sla or sls.")]
Bolts = Annotated[str, typer.Option("--bolts", help="Clamp bolts: none, M3, M4, M5 ...")]
Keys = Annotated[
    int | None,
    typer.Option("--keys", help="Register keys, 0 or at least 2; left out, by the length of the edge."),
]
JobCode = Annotated[
    str, typer.Option("--code", metavar="CODE", help="Job code cut into both halves; never a person's name.")
]
Feet = Annotated[
    bool, typer.Option("--feet/--no-feet", help="Feet of a shell, to stand on while it is poured.")
]
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
    shrinkage: Shrinkage = "0",
    process: Process = "fff",
    bolts: Bolts = "M4",
    keys: Keys = None,
    feet: Feet = True,
    code: JobCode = "",
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
            "shrinkage": _shrinkage(shrinkage),
            "process": process,
            "bolts": bolts,
            "key_count": keys,
            "feet": feet,
            "job_code": code,
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


def _shrinkage(words: str) -> float | tuple[float, ...]:
    if "," in words:
        return three_numbers(words, "shrinkage") or (0.0, 0.0, 0.0)
    try:
        return float(words)
    except ValueError:
        raise UsageError(
            f"The shrinkage is '{words}'.", remedy="Give a share such as 0.01, or three as X,Y,Z."
        ) from None


def _lines(made: "Mould", files: "MouldFiles | None") -> list[tuple[str, object]]:
    proof = made.proof if files is None else files.proof
    lines: list[tuple[str, object]] = [
        ("parting", f"{made.parting.kind}, pull {vector(made.pull_direction, 4)}"),
        *_other_pulls(made),
        ("trapped", known(made.trapped_mm3, "mm³")),
        *((f"{kind} casting", _verdict_words(made, kind)) for kind in made.verdicts),
        ("cavity", known(made.cavity_volume_mm3, "mm³")),
        *((half.name, _half_words(half)) for half in made.halves),
        ("walls", _wall_words(made)),
        ("keys, bolts", _furniture_words(made)),
        ("stands", _standing_words(made)),
        ("opens", _opening_words(proof, flexible=made.settings.casting == "flexible")),
        ("air pockets", _air_words(made)),
    ]
    if files is None:
        return [*lines, ("written", "nothing: see the finding that stops it")]
    return [
        *lines,
        ("proof of files", "holds" if files.sound else "fails"),
        ("written", files.files.package.parent),
    ]


def _other_pulls(made: "Mould") -> list[tuple[str, object]]:
    """Return the next best pulls, as --pull takes them."""
    search = made.parting.search
    if search is None:
        return []
    plane = made.parting.kind == "plane"
    pulls = {p.direction: p.plane_trapped_mm3 if plane else p.bound_mm3 for p in search.alternatives}
    best = sorted(pulls.items(), key=lambda pull: pull[1])[:_OTHER_PULLS]
    return [("other pull", f"{vector(pull, 3)} traps {known(trapped, 'mm³')}") for pull, trapped in best]


def _verdict_words(made: "Mould", kind: str) -> str:
    found, undercut = made.verdicts[kind], made.undercut
    word = "comes out" if found.releases else "is locked"
    if undercut.max_mm == 0.0:
        return f"{word}, no hooks"
    hooks = f"{word}, hooks up to {undercut.max_mm:.1f} mm"
    if kind == "rigid":
        return hooks
    trusted = made.settings.safe_strain
    return f"{hooks}, strain about {100 * undercut.strain:.0f} % (limit {100 * trusted:.0f} %)"


def _half_words(half: "Half") -> str:
    words = f"{half.volume_mm3:.0f} mm³, {half.triangles:,} triangles"
    if half.pieces:
        return f"{words}, in {len(half.pieces)} pieces for the bed"
    laid = half.printing
    size = " × ".join(f"{length:.0f}" for length in laid.size_mm)
    return (
        f"{words}; printed {size} mm, {laid.bed_contact_mm2 / 100.0:.1f} cm² on the bed, "
        f"{laid.overhang_share:.0%} overhangs"
    )


def _wall_words(made: "Mould") -> str:
    least = f"least {made.least_wall_mm:.1f} mm"
    if made.wall_error_mm is None:
        return least
    low, high, rms = made.wall_error_mm
    return (
        f"{least}; shell of {made.settings.wall_mm:g} mm off by {low:+.2f} to {high:+.2f} mm, {rms:.2f} rms"
    )


def _furniture_words(made: "Mould") -> str:
    screws = f" with screws of {made.screw_length_mm:g} mm" if made.screw_length_mm else ""
    bolts = f"{len(made.bolts)} × {made.settings.bolts}{screws}" if made.bolts else "no bolts"
    return f"{len(made.keys)} keys, {bolts}, {made.slots} slots for a lever"


def _air_words(made: "Mould") -> str:
    limit = made.settings.least_pocket_mm3
    left = [pocket.volume_mm3 for pocket in made.air_pockets if not pocket.vented]
    small = sum(volume <= limit for volume in left)
    return f"{len(left) - small} over {limit:g} mm³ without a vent, {small} smaller"


def _standing_words(made: "Mould") -> str:
    across, along = made.standing.base_mm
    tip = made.standing.tip_deg
    falls = f"falls at a tilt of {tip:.0f}°" if tip > 0.0 else "falls by itself"
    return f"on {across:.0f} × {along:.0f} mm, {falls}"

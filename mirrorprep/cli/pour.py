"""The command ``pour``."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from mirrorprep.cli.console import Json, Units, progress_bar, read_solid, show, three_numbers, vector

if TYPE_CHECKING:
    from mirrorprep.pour.plan import PourPlan
    from mirrorprep.progress import Progress

Source = Annotated[
    Path, typer.Argument(metavar="SCAN|JOB", help="A solid, or a job file whose mould is poured.")
]
MaterialName = Annotated[str, typer.Option("--material", help="Generic class of the casting material.")]
Up = Annotated[
    str | None, typer.Option("--up", metavar="X,Y,Z", help="Up while pouring; searched if left out.")
]


def pour(
    source: Source,
    units: Units = None,
    material: MaterialName = "addition-cure silicone",
    up: Up = None,
    json: Json = False,
) -> None:
    """Plan the pour: how much to mix, how long it takes, where air stays, what lifts the upper half."""
    with progress_bar() as progress:
        if source.suffix.lower() == ".toml":
            plan = _of_job(source, progress)
        else:
            plan = _of_part(source, units, material, up, progress)
    lines = (
        ("material", plan.material),
        ("mix", f"{plan.mass_g:g} g: {', '.join(f'{n} {m:g} g' for n, m in plan.parts_by_mass.items())}"),
        ("fill time", f"about {plan.fill_time_s:g} s"),
        ("pot life", "does not apply" if plan.pot_life_s is None else f"{plan.pot_life_s:g} s, typical"),
        ("lifting force", f"about {plan.lifting_force_n:g} N"),
        ("up while pouring", vector(plan.filling.up, 3)),
        *(("not known", text) for text in plan.not_known),
        *(("caution", text) for text in plan.cautions),
    )
    show(plan.as_dict(), lines, as_json=json, findings=plan.findings)


def _of_part(
    source: Path, units: str | None, material: str, up: str | None, progress: "Progress"
) -> "PourPlan":
    from mirrorprep.pour.plan import plan_pour
    from mirrorprep.pour.request import PourRequest

    part = read_solid(source, units)
    request = PourRequest(cavity=part, material=material, pour_up=three_numbers(up, "up"))
    return plan_pour(request, progress=progress)


def _of_job(source: Path, progress: "Progress") -> "PourPlan":
    from mirrorprep.job.plan import plan_of_job

    return plan_of_job(source, progress=progress)

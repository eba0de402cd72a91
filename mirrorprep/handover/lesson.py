"""The lesson: the workflow as one illustrated page with the formula and the source at each step."""

from collections.abc import Mapping
from html import escape
from pathlib import Path

from mirrorprep import cautions
from mirrorprep.handover.atomic import output_folder, write_text
from mirrorprep.handover.html_parts import table, td, th
from mirrorprep.handover.lesson_steps import STEPS, LessonStep
from mirrorprep.handover.provenance import PRODUCED_BY
from mirrorprep.handover.traveller import Figure, Picture, TravellerData
from mirrorprep.handover.traveller_html import page_head, picture_markup

TITLE = "From a scan to a two-part mould, step by step"
INTRODUCTION = (
    "Each step says what is done, why it works, the formula, an example to redo by hand, and where it comes "
    "from. The pictures and the figures beside them belong to one job."
)


def write_lesson(
    folder: Path | str, data: TravellerData | None = None, *, name: str = "lesson", overwrite: bool = False
) -> Path:
    """Write the lesson as one HTML file that needs no network; the same job gives the same bytes.

    Parameters
    ----------
    folder : path-like
        Made when absent.
    data : TravellerData, optional
        A job whose pictures (by the names of the steps) and figures illustrate the steps.
    name : str
        File name without ending.
    overwrite : bool
        Replace an existing file.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    OutputError
        If it exists and `overwrite` is False, or cannot be written.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as place:
    ...     write_lesson(place).name
    'lesson.html'
    """
    path = output_folder(folder) / f"{name}.html"
    return write_text(path, lesson_html(data), overwrite=overwrite)


def lesson_html(data: TravellerData | None = None) -> str:
    """Return the lesson's text; see `write_lesson`."""
    pictures = {} if data is None else {picture.name: picture for picture in data.pictures}
    figures = {} if data is None else _figures_by_step(data)
    caution = escape(cautions.RESEARCH_ONLY)
    cells = {"job": "" if data is None else data.job_code, "steps": str(len(STEPS)), "made by": PRODUCED_BY}
    rows = "".join(f"<div><dt>{k}</dt><dd>{escape(v)}</dd></div>" for k, v in cells.items() if v)
    steps = "\n".join(
        _step(number, step, pictures, figures.get(step.key, ())) for number, step in enumerate(STEPS, start=1)
    )
    return "\n".join(
        (
            page_head(TITLE),
            f'<p class="band">{caution}</p>',
            f'<header class="card"><div class="title"><h1>{TITLE}</h1></div><dl>{rows}</dl></header>',
            f'<main><p class="lead">{INTRODUCTION}</p>',
            steps,
            "</main>",
            f'<p class="band foot">{caution}</p>',
            "</body>",
            "</html>",
            "",
        )
    )


def _figures_by_step(data: TravellerData) -> dict[str, tuple[Figure, ...]]:
    """Return the figures of each section under the names of the steps it illustrates."""
    keys = {step.key for step in STEPS}
    found: dict[str, tuple[Figure, ...]] = {}
    for section in data.sections:
        for key in (section.title.lower(), *section.pictures):
            if key in keys and section.figures and section.figures not in found.values():
                found[key] = section.figures
    return found


def _step(number: int, step: LessonStep, pictures: Mapping[str, Picture], figures: tuple[Figure, ...]) -> str:
    symbols = table(("symbol", "meaning"), [th(symbol) + td(meaning) for symbol, meaning in step.symbols])
    known = table(
        ("in this job", "value", "uncertainty"),
        [
            th(figure.label) + td(figure.words, "number") + td(figure.uncertainty_words, "spread")
            for figure in figures
        ],
    )
    picture = picture_markup(pictures[step.key]) if step.key in pictures else ""
    return (
        f'<section id="step-{number}"><h2>{escape(step.title)}'
        f'<span class="place">{number} of {len(STEPS)}</span></h2>'
        f'<p class="lead">{escape(step.idea)}</p>{picture}{step.formula}{symbols}'
        f'<p class="worked"><strong>Worked example.</strong> {escape(step.example)}</p>{known}'
        f'<p class="hint">Source: {escape(step.source)}</p></section>'
    )

"""The traveller: the sheet that goes with a job, as plain data, and the three files made from it."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from hashlib import sha256
from pathlib import Path
from typing import Final, Literal

from mirrorprep import cautions
from mirrorprep.errors import UsageError
from mirrorprep.handover.atomic import already_there, output_folder, write_bytes, write_text
from mirrorprep.handover.figure_text import Value, is_negligible, number_words, uncertainty_words, value_words
from mirrorprep.handover.provenance import sha256_of_file
from mirrorprep.handover.view import Scene
from mirrorprep.solid.finding import Finding, Severity

FORMAT: Final = "mirrorprep traveller"
FORMAT_VERSION: Final = 1
PageSize = Literal["a4", "letter"]

_CODE: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}")
_DIGEST: Final = re.compile(r"[0-9a-f]{64}")


class State(StrEnum):
    """What a job came to."""

    READY = "ready"
    CAUTIONS = "ready with cautions"
    STOPPED = "stopped"


STATE_WORDS: Final = {
    State.READY: "Ready",
    State.CAUTIONS: "Ready, with cautions",
    State.STOPPED: "Stopped",
}
HOLDS_WORDS: Final = {True: "holds", False: "does not hold", None: "not checked"}
SIGN_OFF: Final = ("made by", "checked by", "released by")


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """The first thing on the sheet: a state, one sentence, and the reasons behind it."""

    state: State
    sentence: str
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """One value with what is needed to judge it.

    Attributes
    ----------
    label : str
        What it is.
    value : float, int, str, bool or None
        None is shown as 'unknown'.
    unit : str
        Such as ``mm³``; empty for a count or a word.
    uncertainty : float or None
        In the same unit, one standard deviation unless `uncertainty_kind` says otherwise.
    uncertainty_kind : str
        What the uncertainty is.
    interval : (float, float) or None
        Lowest and highest value, where a range says more than a standard deviation.
    evidence : str
        How the value was found or checked.
    main : bool
        Belongs among the few figures at the top of the sheet.
    """

    label: str
    value: Value
    unit: str = ""
    uncertainty: float | None = None
    uncertainty_kind: str = "1 s.d."
    interval: tuple[float, float] | None = None
    evidence: str = ""
    main: bool = False

    @property
    def words(self) -> str:
        """Value and unit with the digits that the uncertainty supports."""
        spread = self.uncertainty
        if self.interval is not None:
            spread = (self.interval[1] - self.interval[0]) / 10  # two digits of a wide range
        return value_words(self.value, unit=self.unit, uncertainty=spread)

    @property
    def spread_words(self) -> str:
        """The uncertainty for a place without a heading, where 'unknown' alone would puzzle."""
        words = self.uncertainty_words
        return {"unknown": "uncertainty unknown", "exact": ""}.get(words, words)

    @property
    def uncertainty_words(self) -> str:
        """The uncertainty or range; 'exact' for counts, 'unknown' where none is stated, nothing for words."""
        if self.interval is not None:
            if is_negligible(self.interval[1], self.unit):
                return ""
            low, high = (number_words(end, uncertainty=abs(end) / 10) for end in self.interval)
            return f"{low} to {high} {self.unit}".strip()
        if self.uncertainty is not None:
            number = uncertainty_words(self.uncertainty)
            return f"± {number} {self.unit} ({self.uncertainty_kind})".replace("  ", " ")
        if isinstance(self.value, (str, bool)):
            return ""
        return "exact" if isinstance(self.value, int) else "unknown"

    def as_dict(self) -> dict[str, object]:
        """Return plain data for JSON."""
        return {
            "label": self.label,
            "value": self.value,
            "unit": self.unit,
            "uncertainty": self.uncertainty,
            "uncertainty_kind": self.uncertainty_kind if self.uncertainty is not None else None,
            "interval": None if self.interval is None else list(self.interval),
            "evidence": self.evidence,
            "shown": self.words,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """A part of the sheet: a heading, a sentence or two, figures, and names of pictures."""

    title: str
    lead: str = ""
    figures: tuple[Figure, ...] = ()
    pictures: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """Something that was verified: the claim, how, what was measured against which limit, and the answer.

    `holds` is None when it could not be checked.
    """

    claim: str
    how: str
    measured: str = ""
    limit: str = ""
    holds: bool | None = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Waiver:
    """A finding of severity 'stop' that a responsible person accepted."""

    code: str
    message: str = ""
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """A picture with its name, its caption and its description for those who do not see it."""

    name: str
    png: bytes = field(repr=False)
    caption: str
    description: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class FileEntry:
    """A file of the job: its name, what it is, its size and its digest."""

    name: str
    what: str
    size_bytes: int
    sha256: str
    role: Literal["input", "output"] = "output"


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """Something to do at the bench, with its caution; `numbers` are amounts, times and loads."""

    text: str
    numbers: str = ""
    caution: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class MethodSource:
    """A method and the paper, standard or habit that it rests on."""

    method: str
    reference: str


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class TravellerData:
    """All that stands on the sheet, in plain words and numbers.

    Attributes
    ----------
    job_code, purpose : str
        Subject code, never a name; research, teaching or demonstration.
    title : str
        What is made.
    verdict : Verdict
        Comes first.
    sections : tuple of Section
        Figures in the order of the work.
    checks, findings, waivers
        What was verified, what was noticed, what was accepted.
    pictures : tuple of Picture
        Referred to by the sections; the others stand at the end.
    front_picture : str
        Name of the picture that stands with the verdict on paper; empty for none.
    files : tuple of FileEntry
        Inputs and outputs with their digests.
    steps : tuple of Step
        Tick list for the shop floor.
    settings, versions : mapping
        Everything needed to do it again.
    sources : tuple of MethodSource
        Method sources.
    cautions : tuple of str
        From `mirrorprep.cautions`; the first stands on every page.
    scene : Scene or None
        For the view in three dimensions.
    """

    job_code: str
    purpose: str
    title: str
    verdict: Verdict
    sections: tuple[Section, ...] = ()
    checks: tuple[Check, ...] = ()
    findings: tuple[Finding, ...] = ()
    waivers: tuple[Waiver, ...] = ()
    pictures: tuple[Picture, ...] = ()
    front_picture: str = ""
    files: tuple[FileEntry, ...] = ()
    steps: tuple[Step, ...] = ()
    settings: Mapping[str, object] = field(default_factory=dict)
    versions: Mapping[str, str] = field(default_factory=dict)
    sources: tuple[MethodSource, ...] = ()
    cautions: tuple[str, ...] = cautions.ALL
    scene: Scene | None = None

    def __post_init__(self) -> None:
        if not _CODE.fullmatch(self.job_code):
            raise UsageError(
                f"'{self.job_code}' is not a job code.",
                remedy="Use up to 64 letters, digits, dots, hyphens and underscores; never a name.",
            )
        if cautions.RESEARCH_ONLY not in self.cautions:
            raise UsageError(
                "The traveller lacks the research-only caution.", remedy="Begin its cautions with it."
            )
        self._refuse_bad_pictures()
        for file in self.files:
            if not _DIGEST.fullmatch(file.sha256):
                raise UsageError(
                    f"'{file.sha256}' is not the SHA-256 of '{file.name}'.", remedy="Give 64 hex digits."
                )

    def _refuse_bad_pictures(self) -> None:
        names = [picture.name for picture in self.pictures]
        wanted = [name for section in self.sections for name in section.pictures]
        wanted += [self.front_picture] if self.front_picture else []
        for name in names:
            if names.count(name) > 1 or not _CODE.fullmatch(name):
                raise UsageError(
                    f"'{name}' cannot name a picture.", remedy="Give each picture its own short name."
                )
        for name in wanted:
            if name not in names:
                raise UsageError(f"There is no picture '{name}'.", remedy="Add it to the pictures.")

    @property
    def main_figures(self) -> tuple[Figure, ...]:
        """The figures that stand beside the verdict."""
        return tuple(figure for section in self.sections for figure in section.figures if figure.main)

    @property
    def graver_findings(self) -> tuple[Finding, ...]:
        """The findings, gravest first."""
        order = list(Severity)
        return tuple(sorted(self.findings, key=lambda finding: -order.index(finding.severity)))

    @property
    def loose_pictures(self) -> tuple[Picture, ...]:
        """Pictures that no section refers to."""
        wanted = {name for section in self.sections for name in section.pictures}
        return tuple(picture for picture in self.pictures if picture.name not in wanted)

    def picture(self, name: str) -> Picture:
        """Return a picture by its name."""
        return next(picture for picture in self.pictures if picture.name == name)


@dataclass(frozen=True, slots=True, kw_only=True)
class TravellerPaths:
    """Where the traveller lies."""

    html: Path
    pdf: Path
    json: Path

    def as_dict(self) -> dict[str, str]:
        """Return plain data for JSON."""
        return {"html": str(self.html), "pdf": str(self.pdf), "json": str(self.json)}


def write_traveller(
    data: TravellerData,
    folder: Path | str,
    *,
    name: str = "traveller",
    page: PageSize = "a4",
    overwrite: bool = False,
) -> TravellerPaths:
    """Write the traveller as HTML, PDF and JSON; the same data give the same bytes.

    Parameters
    ----------
    data : TravellerData
        What stands on it.
    folder : path-like
        Made when absent.
    name : str
        File name without ending.
    page : {'a4', 'letter'}
        Page of the PDF.
    overwrite : bool
        Replace existing files.

    Returns
    -------
    TravellerPaths
        The three files.

    Raises
    ------
    OutputError
        If a file exists and `overwrite` is False, or cannot be written.
    """
    from mirrorprep.handover.traveller_html import traveller_html
    from mirrorprep.handover.traveller_json import traveller_json
    from mirrorprep.handover.traveller_pdf import traveller_pdf

    place = output_folder(folder)
    for kind in ("html", "pdf", "json"):
        if (place / f"{name}.{kind}").exists() and not overwrite:
            raise already_there(place / f"{name}.{kind}")
    texts = traveller_html(data), traveller_json(data)
    sheet = traveller_pdf(data, page=page)
    return TravellerPaths(
        html=write_text(place / f"{name}.html", texts[0], overwrite=overwrite),
        pdf=write_bytes(place / f"{name}.pdf", sheet, overwrite=overwrite),
        json=write_text(place / f"{name}.json", texts[1], overwrite=overwrite),
    )


def file_entry(
    path: Path | str, what: str, *, role: Literal["input", "output"] = "output", name: str = ""
) -> FileEntry:
    """Return a file's entry for the sheet; `name` stands instead of its own, as for an input file."""
    file = Path(path)
    digest = sha256_of_file(file)
    return FileEntry(
        name=name or file.name, what=what, size_bytes=file.stat().st_size, sha256=digest, role=role
    )


def picture_digest(picture: Picture) -> str:
    """Return the SHA-256 of a picture's PNG."""
    return sha256(picture.png).hexdigest()

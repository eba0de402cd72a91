"""The last stage: write the files, prove the mould from them, and hand over the traveller."""

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from mirrorprep.handover.atomic import output_folder, write_text
from mirrorprep.handover.files import NamedPart, write_3mf, write_stl
from mirrorprep.job.mould_files import prove_written, write_mould
from mirrorprep.job.records import StageRecord
from mirrorprep.job.stages import Work
from mirrorprep.progress import SILENT, Progress

FILE_NAMES: Final = (
    "mirrored_part.stl",
    "mirrored_part.3mf",
    "half_a.stl",
    "half_b.stl",
    "mould.3mf",
    "traveller.html",
    "traveller.pdf",
    "traveller.json",
)
"""Every file that a job may hand over."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Delivery:
    """What was handed over.

    Attributes
    ----------
    outputs : tuple of str
        Every file written.
    traveller : dict
        Paths of the traveller by kind.
    """

    outputs: tuple[str, ...]
    traveller: dict[str, str | None]


def deliver(work: Work, folder: Path, *, overwrite: bool = False, progress: Progress = SILENT) -> Delivery:
    """Write every result of a finished job into `folder`, read the mould back and prove it.

    Raises
    ------
    OutputError
        If a file exists and `overwrite` is False, or cannot be written.
    """
    place = output_folder(folder)
    progress.step("writing", 0.0)
    outputs = _write_part(work, place, overwrite=overwrite)
    if "mould" in work.records:
        mould = work.records["mould"]
        halves, package = write_mould(mould, place, overwrite=overwrite)
        outputs += [*halves, package]
        written = prove_written(mould, halves, package, progress=progress.part(0.2, 0.5))
        work.records["handover"] = StageRecord(
            name="handover", figures=written.proof.as_dict(), findings=written.proof.findings
        )
    record = place / "traveller.json"
    text = json.dumps([stage.as_dict() for stage in work.records.values()], indent=2, allow_nan=False)
    outputs.append(write_text(record, text, overwrite=overwrite))
    return Delivery(
        outputs=tuple(str(path) for path in outputs),
        traveller={"html": None, "pdf": None, "json": str(record)},
    )


def _write_part(work: Work, place: Path, *, overwrite: bool) -> list[Path]:
    part = work.solid("symmetry", "mirrored")
    stl = write_stl(part, place / "mirrored_part.stl", overwrite=overwrite)
    named = [NamedPart(name="mirrored_part", mesh=part)]
    return [stl, write_3mf(named, place / "mirrored_part.3mf", overwrite=overwrite)]

"""The last stage: write the files, prove the mould from them, and hand over the traveller."""

import json
from dataclasses import dataclass
from pathlib import Path

from mirrorprep.handover.atomic import output_folder, write_text
from mirrorprep.handover.files import NamedPart, write_3mf, write_stl
from mirrorprep.job.mould_files import prove_written, write_mould
from mirrorprep.job.stages import StageRecord, Work, need
from mirrorprep.progress import SILENT, Progress


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
    if work.mould is not None:
        halves, package = write_mould(work.mould, place, overwrite=overwrite)
        outputs += [*halves, package]
        written = prove_written(work.mould, halves, package, progress=progress.part(0.2, 0.5))
        work.records.append(
            StageRecord(name="handover", figures=written.proof.as_dict(), findings=written.proof.findings)
        )
    record = place / "traveller.json"
    text = json.dumps([stage.as_dict() for stage in work.records], indent=2, allow_nan=False)
    outputs.append(write_text(record, text, overwrite=overwrite))
    return Delivery(
        outputs=tuple(str(path) for path in outputs),
        traveller={"html": None, "pdf": None, "json": str(record)},
    )


def _write_part(work: Work, place: Path, *, overwrite: bool) -> list[Path]:
    part = need(work.mirrored)
    stl = write_stl(part, place / "mirrored_part.stl", overwrite=overwrite)
    named = [NamedPart(name="mirrored_part", mesh=part)]
    return [stl, write_3mf(named, place / "mirrored_part.3mf", overwrite=overwrite)]

"""The last stage: write the files, prove the mould from them, and hand over the traveller."""

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from mirrorprep.handover.atomic import output_folder, write_bytes
from mirrorprep.handover.display import drawing_finding
from mirrorprep.handover.files import NamedPart, write_3mf, write_stl
from mirrorprep.handover.lesson import write_lesson
from mirrorprep.handover.provenance import DIGESTS, write_digests
from mirrorprep.handover.thumbnail import picture_thumbnail
from mirrorprep.handover.traveller import FileEntry, Picture, file_entry, write_traveller
from mirrorprep.job.file_shapes import rounding_findings
from mirrorprep.job.mould_files import prove_written, write_mould
from mirrorprep.job.mould_record import PIECES
from mirrorprep.job.pictures import draw_pictures
from mirrorprep.job.records import StageRecord
from mirrorprep.job.sheet import traveller_data
from mirrorprep.job.stages import Work
from mirrorprep.progress import SILENT, Progress
from mirrorprep.solid.rounding import fit_for_files

THUMBNAIL: Final = "thumbnail.png"
_CONTENTS: Final = {
    "mirrored_part.stl": "the mirrored part",
    "mirrored_part.3mf": "the mirrored part with unit and caution",
    "half_a.stl": "upper half of the mould, in assembled position",
    "half_b.stl": "lower half of the mould, in assembled position",
    "mould.3mf": "both halves, or their pieces, named, laid on the bed",
    "casting.stl": "what the pour makes, with sprue and vents; evidence, not for printing",
    THUMBNAIL: "a small picture of the part, for lists",
    **{
        f"{name}.stl": f"piece {number} of {half}, which is too large for the bed; in assembled position"
        for half, names in PIECES.items()
        for number, name in enumerate(names, start=1)
    },
}
FILE_NAMES: Final = (*_CONTENTS, "traveller.html", "traveller.pdf", "traveller.json", "lesson.html", DIGESTS)
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
    traveller: dict[str, str]


def deliver(work: Work, folder: Path, *, overwrite: bool = False, progress: Progress = SILENT) -> Delivery:
    """Write every result of a finished job into `folder`, read the mould back and prove it.

    Raises
    ------
    OutputError
        If a file exists and `overwrite` is False, or cannot be written.
    """
    place = output_folder(folder)
    progress.step("writing", 0.0)
    files = _write_part(work, place, overwrite=overwrite)
    if "mould" in work.records:
        mould = work.records["mould"]
        written = write_mould(mould, place, overwrite=overwrite)
        cast = fit_for_files(mould.solid("casting")).solid
        casting = write_stl(cast, place / "casting.stl", overwrite=overwrite)
        files += [*written.all, casting]
        proved = prove_written(mould, written, progress=progress.part(0.1, 0.4))
        work.records["handover"] = StageRecord(
            name="handover", figures=proved.as_dict(), findings=proved.findings
        )
    pictures: tuple[Picture, ...] = ()
    if work.job.output.pictures:
        missing = drawing_finding()
        if missing is None:
            pictures = draw_pictures(work, progress=progress.part(0.4, 0.9))
            small = picture_thumbnail(work.mirrored)
            files.append(write_bytes(place / THUMBNAIL, small, overwrite=overwrite))
        else:
            work.records["pictures"] = StageRecord(name="pictures", figures={}, findings=(missing,))
    data = traveller_data(work, [*_inputs(work), *_outputs(files)], pictures)
    paths = write_traveller(data, place, page=work.job.output.page, overwrite=overwrite)
    files += [paths.html, paths.pdf, paths.json]
    if work.job.output.lesson:
        files.append(write_lesson(place, data, overwrite=overwrite))
    files.append(write_digests(place, [file.name for file in files], overwrite=overwrite))
    progress.step("traveller", 1.0)
    return Delivery(outputs=tuple(str(path) for path in files), traveller=paths.as_dict())


def _write_part(work: Work, place: Path, *, overwrite: bool) -> list[Path]:
    part = fit_for_files(work.mirrored).solid
    found = rounding_findings("mirrored_part", part)
    if found:
        work.records["files"] = StageRecord(name="files", figures={}, findings=found)
    stl = write_stl(part, place / "mirrored_part.stl", overwrite=overwrite)
    named = [NamedPart(name="mirrored_part", mesh=part)]
    return [stl, write_3mf(named, place / "mirrored_part.3mf", overwrite=overwrite)]


def _inputs(work: Work) -> list[FileEntry]:
    """Return the inputs by what they are; their names stay outside."""
    return [
        FileEntry(
            name=name,
            what=f"input, {figures['format']}, {figures['units']}",
            size_bytes=figures["bytes"],
            sha256=figures["sha256"],
            role="input",
        )
        for name, figures in work.records["intake"].figures.items()
    ]


def _outputs(files: Iterable[Path]) -> list[FileEntry]:
    return [file_entry(file, _CONTENTS[file.name]) for file in files]

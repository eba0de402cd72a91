"""Writing a mould and proving it again from the files alone."""

from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from mirrorprep.errors import OutputError
from mirrorprep.handover.atomic import output_folder
from mirrorprep.handover.bed import place_on_bed
from mirrorprep.handover.files import NamedPart, write_3mf, write_stl
from mirrorprep.intake.read import read_scan
from mirrorprep.job.mould_record import HALVES
from mirrorprep.job.records import StageRecord
from mirrorprep.mould.proof import Proof, prove
from mirrorprep.progress import SILENT, Progress
from mirrorprep.solid.certify import certify

MOULD_3MF: Final = "mould.3mf"
VOLUME_TOLERANCE: Final = 1e-6
"""Relative change of a volume that 32-bit coordinates may cause; measured 3e-7 for a 10 mm ball 170 mm from
the origin (ΔV/V of an STL round trip)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MouldFiles:
    """The files of a mould and the proof of what they hold.

    Attributes
    ----------
    halves : tuple of Path
        ``half_a.stl`` and ``half_b.stl``, in assembled position in the part's coordinates.
    package : Path
        ``mould.3mf``: both halves as named parts, each laid on its back on the bed.
    proof : Proof
        Of the halves as read back from the STL files.
    """

    halves: tuple[Path, ...]
    package: Path
    proof: Proof


def stl_name(half: str) -> str:
    """Return the file name of a half."""
    return f"{half}.stl"


def write_mould(
    mould: StageRecord, folder: Path | str, *, overwrite: bool = False
) -> tuple[tuple[Path, ...], Path]:
    """Write the halves as STL, assembled, and as one 3MF, laid on the bed.

    Raises
    ------
    OutputError
        If a file exists and `overwrite` is False, or cannot be written.
    """
    place = output_folder(folder)
    refuse_existing([place / name for name in (*map(stl_name, HALVES), MOULD_3MF)], overwrite=overwrite)
    halves = tuple(
        write_stl(mould.solid(name), place / stl_name(name), overwrite=overwrite) for name in HALVES
    )
    poses = mould.figures["print_poses"]
    parts = [NamedPart(name=n, mesh=mould.solid(n), transform=np.array(poses[n])) for n in HALVES]
    laid = place_on_bed(parts, bed_mm=mould.figures["settings"]["bed_mm"])
    package = write_3mf(
        laid.parts, place / MOULD_3MF, metadata={"Title": "Two-part mould"}, overwrite=overwrite
    )
    return halves, package


def refuse_existing(files: list[Path], *, overwrite: bool) -> None:
    """Raise `OutputError` before any work when a file exists that may not be replaced."""
    taken = [file for file in files if file.exists()]
    if taken and not overwrite:
        raise OutputError(
            f"'{taken[0]}' exists already.", remedy="Choose another folder or ask for --overwrite."
        )


def prove_written(
    mould: StageRecord, halves: tuple[Path, ...], package: Path, *, progress: Progress = SILENT
) -> MouldFiles:
    """Read the files back, certify every body again and prove the mould from them.

    Raises
    ------
    NotASolidError
        If a half read back is no solid.
    OutputError
        If a volume in a file differs from the one that was built.
    """
    read = [certify(read_scan(path, units="mm")) for path in halves]
    progress.step("reading back", 0.3)
    built = [mould.solid(name).volume_mm3 for name in HALVES]
    _same_volume(package.name, certify(read_scan(package)).volume_mm3, sum(built))
    for path, found, volume in zip(halves, read, built, strict=True):
        _same_volume(path.name, found.volume_mm3, volume)
    proof = prove(
        read,
        mould.solid("casting"),
        np.array(mould.figures["pull_direction"]),
        hollows_mm3=mould.figures["hollows_volume_mm3"],
        flexible=mould.figures["settings"]["casting"] == "flexible",
        progress=progress.part(0.4, 1.0),
    )
    return MouldFiles(halves=halves, package=package, proof=proof)


def _same_volume(name: str, found_mm3: float, built_mm3: float) -> None:
    if abs(found_mm3 - built_mm3) > VOLUME_TOLERANCE * built_mm3:
        raise OutputError(
            f"{name} holds {found_mm3:.3f} mm³ instead of {built_mm3:.3f} mm³.",
            remedy="Write it again; if it stays so, check the disk.",
        )

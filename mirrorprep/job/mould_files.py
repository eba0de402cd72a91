"""Writing a mould and proving it again from the files alone."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np

from mirrorprep.errors import OutputError
from mirrorprep.handover.atomic import output_folder
from mirrorprep.handover.bed import place_on_bed
from mirrorprep.handover.files import NamedPart, write_3mf, write_stl
from mirrorprep.intake.read import read_scan
from mirrorprep.job.mould_record import HALVES, pieces_of
from mirrorprep.job.records import StageRecord
from mirrorprep.mould.pieces import Piece, PiecesProof, prove_pieces
from mirrorprep.mould.proof import Proof, prove
from mirrorprep.progress import SILENT, Progress
from mirrorprep.solid.certify import certify
from mirrorprep.solid.finding import Finding
from mirrorprep.solid.solid import Solid

MOULD_3MF: Final = "mould.3mf"
VOLUME_TOLERANCE: Final = 1e-6
"""Relative change of a volume that 32-bit coordinates may cause; measured 3e-7 for a 10 mm ball 170 mm from
the origin (ΔV/V of an STL round trip)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WrittenMould:
    """The files of a mould.

    Attributes
    ----------
    halves : tuple of Path
        ``half_a.stl`` and ``half_b.stl``, in assembled position in the part's coordinates.
    pieces : tuple of Path
        ``half_a_1.stl`` and so on, in the same position, when a half is too large for the bed.
    package : Path
        ``mould.3mf``: both halves, or the pieces of those that are divided, as named parts, each laid on its
        back on the bed.
    """

    halves: tuple[Path, ...]
    pieces: tuple[Path, ...]
    package: Path

    @property
    def all(self) -> tuple[Path, ...]:
        """Every file."""
        return (*self.halves, *self.pieces, self.package)


@dataclass(frozen=True, slots=True, kw_only=True)
class MouldFiles:
    """The files of a mould and the proof of what they hold.

    Attributes
    ----------
    files : WrittenMould
        As written.
    proof : Proof
        Of the halves as read back from the STL files.
    pieces : tuple of PiecesProof
        Of the pieces as read back, for each half that is divided.
    """

    files: WrittenMould
    proof: Proof
    pieces: tuple[PiecesProof, ...]

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Whatever does not hold of the halves or the pieces."""
        return (*self.proof.findings, *(finding for proof in self.pieces for finding in proof.findings))

    @property
    def sound(self) -> bool:
        """True when everything holds, apart from the release of an undercut casting."""
        return self.proof.sound and not any(proof.findings for proof in self.pieces)

    def as_dict(self) -> dict[str, object]:
        """Return the proof as plain data for JSON, that of pieces within it."""
        return {**self.proof.as_dict(), "pieces": [proof.as_dict() for proof in self.pieces]}


def stl_name(half: str) -> str:
    """Return the file name of a half or a piece."""
    return f"{half}.stl"


def write_mould(mould: StageRecord, folder: Path | str, *, overwrite: bool = False) -> WrittenMould:
    """Write the halves, and the pieces of those too large for the bed, as STL, assembled, and as one 3MF.

    Raises
    ------
    OutputError
        If a file exists and `overwrite` is False, or cannot be written.
    """
    place = output_folder(folder)
    pieces = [name for half in HALVES for name in pieces_of(mould, half)]
    refuse_existing(
        [place / name for name in (*map(stl_name, (*HALVES, *pieces)), MOULD_3MF)], overwrite=overwrite
    )
    stl = {
        name: write_stl(mould.solid(name), place / stl_name(name), overwrite=overwrite)
        for name in (*HALVES, *pieces)
    }
    poses = mould.figures["print_poses"]
    printed = [name for half in HALVES for name in (pieces_of(mould, half) or (half,))]
    parts = [NamedPart(name=n, mesh=mould.solid(n), transform=np.array(poses[n])) for n in printed]
    laid = place_on_bed(parts, bed_mm=mould.figures["settings"]["bed_mm"])
    package = write_3mf(
        laid.parts, place / MOULD_3MF, metadata={"Title": "Two-part mould"}, overwrite=overwrite
    )
    return WrittenMould(
        halves=tuple(stl[name] for name in HALVES),
        pieces=tuple(stl[name] for name in pieces),
        package=package,
    )


def refuse_existing(files: list[Path], *, overwrite: bool) -> None:
    """Raise `OutputError` before any work when a file exists that may not be replaced."""
    taken = [file for file in files if file.exists()]
    if taken and not overwrite:
        raise OutputError(
            f"'{taken[0]}' exists already.", remedy="Choose another folder or ask for --overwrite."
        )


def prove_written(mould: StageRecord, files: WrittenMould, *, progress: Progress = SILENT) -> MouldFiles:
    """Read the files back, certify every body again and prove the mould from them.

    Raises
    ------
    NotASolidError
        If a half or a piece read back is no solid.
    OutputError
        If a volume in a file differs from the one that was built.
    """
    read = {path.stem: certify(read_scan(path, units="mm")) for path in (*files.halves, *files.pieces)}
    progress.step("reading back", 0.3)
    for name, found in read.items():
        _same_volume(stl_name(name), found.volume_mm3, mould.solid(name).volume_mm3)
    printed = [name for half in HALVES for name in (pieces_of(mould, half) or (half,))]
    built = sum(mould.solid(name).volume_mm3 for name in printed)
    _same_volume(files.package.name, certify(read_scan(files.package)).volume_mm3, built)
    proof = prove(
        [read[name] for name in HALVES],
        mould.solid("casting"),
        np.array(mould.figures["pull_direction"]),
        hollows_mm3=mould.figures["hollows_volume_mm3"],
        flexible=mould.figures["settings"]["casting"] == "flexible",
        progress=progress.part(0.4, 1.0),
    )
    divided = [half for half in mould.figures["halves"] if half["pieces"]]
    return MouldFiles(
        files=files, proof=proof, pieces=tuple(_proved_pieces(mould, half, read) for half in divided)
    )


def _proved_pieces(mould: StageRecord, half: dict[str, Any], read: Mapping[str, Solid]) -> PiecesProof:
    poses = mould.figures["print_poses"]
    return prove_pieces(
        read[half["name"]],
        [Piece(name=n, solid=read[n], print_pose=np.array(poses[n])) for n in half["pieces"]],
        gaps_mm3=half["piece_gaps_mm3"],
        bed_mm=mould.figures["settings"]["bed_mm"],
        limit=VOLUME_TOLERANCE,
    )


def _same_volume(name: str, found_mm3: float, built_mm3: float) -> None:
    if abs(found_mm3 - built_mm3) > VOLUME_TOLERANCE * built_mm3:
        raise OutputError(
            f"{name} holds {found_mm3:.3f} mm³ instead of {built_mm3:.3f} mm³.",
            remedy="Write it again; if it stays so, check the disk.",
        )

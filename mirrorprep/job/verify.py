"""Verifying a handed-over folder from its files alone: every digest, every format, every geometric claim."""

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np

from mirrorprep.errors import MirrorPrepError
from mirrorprep.handover.evidence import (
    findings_of,
    read_record,
    recheck_digests,
    recheck_extra,
    recheck_formats,
    recheck_page,
    recheck_record,
)
from mirrorprep.handover.figure_text import parts_words, value_words
from mirrorprep.handover.traveller import Check
from mirrorprep.intake.read import read_scan
from mirrorprep.job.mould_files import MOULD_3MF, VOLUME_TOLERANCE, stl_name
from mirrorprep.job.mould_record import HALVES, PIECES
from mirrorprep.job.verify_part import claimed, part_checks, undercut_check
from mirrorprep.mould.proof import Proof, prove
from mirrorprep.progress import SILENT, Progress
from mirrorprep.solid.certify import certify
from mirrorprep.solid.finding import Finding
from mirrorprep.solid.solid import Solid

_MOST_CLEARANCE: Final = 0.05
"""Greatest share of a half that the clearance of its pieces' keys may take."""

_IDENTITY_OF_FILES: Final = 1e-6
"""Relative error of the volume identity that 32-bit coordinates may cause."""

_OVERLAP_SLACK_MM3: Final = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Verification:
    """What holds of a handed-over folder.

    Attributes
    ----------
    checks : tuple of Check
        Each claim, how it was checked, what was measured, and whether it holds.
    findings : tuple of Finding
        One of severity 'stop' for each claim that does not hold.
    """

    checks: tuple[Check, ...]
    findings: tuple[Finding, ...]

    @property
    def holds(self) -> bool:
        """True when every claim holds."""
        return not self.findings

    def as_dict(self) -> dict[str, Any]:
        """Return plain data for JSON."""
        return {
            "holds": self.holds,
            "checks": [
                {name: getattr(check, name) for name in ("claim", "how", "measured", "limit", "holds")}
                for check in self.checks
            ],
            "findings": [finding.as_dict() for finding in self.findings],
        }


def verify_handover(folder: str | Path, *, progress: Progress = SILENT) -> Verification:
    """Recompute every digest and geometric claim of a handed-over folder from its files.

    Parameters
    ----------
    folder : path-like
        As a job writes it.
    progress : Progress
        Reporter.

    Returns
    -------
    Verification
        Every check; a file that cannot be read or is no solid is a claim that does not hold.

    Raises
    ------
    InputFileError
        If the folder holds no traveller or no list of digests.
    """
    place = Path(folder)
    record = read_record(place)
    checks = [*recheck_record(place, record), *recheck_digests(place), *recheck_formats(place)]
    checks += [recheck_extra(place), recheck_page(place, record)]
    progress.step("digests", 0.3)
    volume = claimed(record, "Part", "Volume")
    part = _solid_check(place / "mirrored_part.stl", math.nan if volume is None else volume, checks)
    checks += [] if part is None else part_checks(part, record)
    if "found.pull_direction" in record.get("settings", {}):
        _check_mould(place, record, checks, progress.part(0.4, 1.0))
    return Verification(checks=tuple(checks), findings=findings_of(tuple(checks)))


def _solid_check(path: Path, volume_mm3: float | None, checks: list[Check]) -> Solid | None:
    """Certify a file's shape, and hold it to a volume unless it is None; what is no number never holds."""
    named = "" if volume_mm3 is None else " of the stated volume"
    claim, how = f"{path.name} is a solid{named}", "read back, certified, integrated"
    stated = "" if volume_mm3 is None else f"{volume_mm3:.3f} mm³"
    try:
        solid = certify(read_scan(path, units="mm"))
    except MirrorPrepError as error:
        checks.append(Check(claim=claim, how=how, measured=error.message, limit=stated, holds=False))
        return None
    off = 0.0 if volume_mm3 is None else abs(solid.volume_mm3 / volume_mm3 - 1.0)
    measured = f"{solid.volume_mm3:.3f} mm³"
    checks.append(Check(claim=claim, how=how, measured=measured, limit=stated, holds=off <= VOLUME_TOLERANCE))
    return solid


def _check_mould(place: Path, record: dict[str, Any], checks: list[Check], progress: Progress) -> None:
    settings = record["settings"]
    claims = {name: claimed(record, "Mould", f"Material of {name}") for name in HALVES}
    found = [
        _solid_check(place / stl_name(name), math.nan if claim is None else 1000.0 * claim, checks)
        for name, claim in claims.items()
    ]
    hollow = float(settings["found.hollows_volume_mm3"])
    rest = (
        float(settings["found.outer_volume_mm3"]) - hollow - 1000.0 * sum(v or 0.0 for v in claims.values())
    )
    casting = _solid_check(place / "casting.stl", rest, checks)
    solids = [solid for solid in found if solid is not None]
    if casting is None or len(solids) < len(HALVES):
        return
    progress.step("opening the mould", 0.3)
    proof = prove(
        solids,
        casting,
        np.array(settings["found.pull_direction"]),
        hollows_mm3=hollow,
        flexible=settings["found.casting"] == "flexible",
        progress=progress,
    )
    checks += [*_proof_checks(proof), *_overlap_checks(proof, settings)]
    checks.append(undercut_check(casting, settings["found.pull_direction"], record))
    checks.append(_identity_check([*solids, casting], settings))
    printed = [_printed(place, name, solid, checks) for name, solid in zip(HALVES, solids, strict=True)]
    checks.append(_package_check(place / MOULD_3MF, sum(printed)))


def _printed(place: Path, name: str, half: Solid, checks: list[Check]) -> float:
    """Return the volume of what is printed for a half: itself, or the pieces that stand beside it."""
    files = [place / stl_name(piece) for piece in PIECES[name] if (place / stl_name(piece)).exists()]
    pieces = [_solid_check(file, None, checks) for file in files]
    solids = [solid for solid in pieces if solid is not None]
    if not solids:
        return half.volume_mm3
    total = sum(solid.volume_mm3 for solid in solids)
    checks.append(
        Check(
            claim=f"The pieces of {name} make it up but for the clearance of their keys",
            how="volumes of the files read back",
            measured=f"{total:.3f} mm³",
            limit=f"{half.volume_mm3:.3f} mm³, less up to {_MOST_CLEARANCE:.0%}",
            holds=(1.0 - _MOST_CLEARANCE) * half.volume_mm3
            <= total
            <= (1.0 + VOLUME_TOLERANCE) * half.volume_mm3,
        )
    )
    return total


def _proof_checks(proof: Proof) -> list[Check]:
    grave = [finding for finding in proof.findings if finding.severity == "stop"]
    return [
        Check(
            claim="The mould closes and opens",
            how="halves and casting read back, moved along the pull, intersected",
            measured="; ".join(finding.message for finding in grave)
            or f"{proof.release_interference_mm3:.3g} mm³ in the way",
            limit=f"{proof.release_limit_mm3:.3g} mm³ unless the casting flexes",
            holds=not grave,
        )
    ]


def _overlap_checks(proof: Proof, settings: dict[str, Any]) -> list[Check]:
    """Return whether the stated overlaps of halves and casting are found again."""
    found = (
        ("The halves overlap when closed", "halves_overlap_mm3", proof.halves_overlap_mm3),
        ("The casting is in the way", "release_interference_mm3", proof.release_interference_mm3),
    )
    return [
        Check(
            claim=f"{words} by the stated volume",
            how="boolean intersection of the files read back",
            measured=value_words(value, unit="mm³"),
            limit=value_words(float(settings[f"found.{name}"]), unit="mm³"),
            holds=abs(value - float(settings[f"found.{name}"])) <= _OVERLAP_SLACK_MM3 + 0.01 * value,
        )
        for words, name, value in found
    ]


def _identity_check(solids: list[Solid], settings: dict[str, Any]) -> Check:
    outer = float(settings["found.outer_volume_mm3"])
    total = sum(solid.volume_mm3 for solid in solids) + float(settings["found.hollows_volume_mm3"])
    error = abs(total - outer) / outer
    return Check(
        claim="Halves, casting and hollows make up the outer body",
        how="volumes of the files read back",
        measured=parts_words(error, 6),
        limit=parts_words(_IDENTITY_OF_FILES, 6),
        holds=error <= _IDENTITY_OF_FILES,
    )


def _package_check(path: Path, wanted: float) -> Check:
    claim, how = f"{path.name} holds both halves", "volume of the 3MF read back against the STL files"
    try:
        found = certify(read_scan(path)).volume_mm3
    except MirrorPrepError as error:
        return Check(claim=claim, how=how, measured=error.message, holds=False)
    return Check(
        claim=claim,
        how=how,
        measured=f"{found:.3f} mm³",
        limit=f"{wanted:.3f} mm³",
        holds=abs(found / wanted - 1.0) <= VOLUME_TOLERANCE,
    )

"""Evidence: what a handed-over folder says of itself, checked again from its files alone."""

import html
import json
import re
import zipfile
from pathlib import Path
from typing import Any, Final
from xml.sax.saxutils import escape

from mirrorprep import cautions
from mirrorprep.errors import InputFileError
from mirrorprep.handover.provenance import DIGESTS, sha256_of_file
from mirrorprep.handover.traveller import FORMAT, FORMAT_VERSION, Check
from mirrorprep.solid.finding import Finding, Severity

_LINE: Final = re.compile(r"([0-9a-f]{64})  (\S.*)")
_STL_HEADER_BYTES: Final = 84
_STL_FACE_BYTES: Final = 50
_MODEL: Final = "3D/3dmodel.model"
_HEAD_BYTES: Final = 1 << 16


def read_record(folder: Path | str, *, name: str = "traveller.json") -> dict[str, Any]:
    """Return the JSON traveller of a folder.

    Raises
    ------
    InputFileError
        If it is absent, not JSON, or of another format.
    """
    path = Path(folder) / name
    try:
        record = json.loads(path.read_bytes())
    except OSError as error:
        raise InputFileError(f"'{path}' cannot be read.", remedy="Name the folder of a handover.") from error
    except ValueError as error:
        raise InputFileError(f"'{path}' is not JSON.", remedy="Run the job again.") from error
    found = (record.get("format"), record.get("format_version")) if isinstance(record, dict) else (None, None)
    if found != (FORMAT, FORMAT_VERSION):
        raise InputFileError(
            f"'{path}' is no traveller of format {FORMAT_VERSION}.", remedy="Run the job with this version."
        )
    return dict(record)


def recheck_record(folder: Path | str, record: dict[str, Any]) -> tuple[Check, ...]:
    """Return one check for each output that the traveller lists: there, and unchanged by its SHA-256."""
    listed = [entry for entry in record.get("files", []) if entry.get("role") == "output"]
    return tuple(
        _digest_check(Path(folder), str(entry["name"]), str(entry["sha256"]), source="traveller.json")
        for entry in listed
    )


def recheck_digests(folder: Path | str) -> tuple[Check, ...]:
    """Return one check for each line of the folder's list of digests.

    Raises
    ------
    InputFileError
        If there is no list, or a line of it is not understood.
    """
    path = Path(folder) / DIGESTS
    checks = []
    for number, line in enumerate(_lines(path), start=1):
        parts = _LINE.fullmatch(line)
        if parts is None:
            raise InputFileError(f"Line {number} of '{path}' is no digest.", remedy="Run the job again.")
        checks.append(_digest_check(Path(folder), parts[2], parts[1], source=DIGESTS))
    return tuple(checks)


def recheck_extra(folder: Path | str) -> Check:
    """Return whether a folder holds nothing but what its list of digests names."""
    place = Path(folder)
    listed = {parts[2] for line in _lines(place / DIGESTS) if (parts := _LINE.fullmatch(line))}
    extra = sorted(path.name for path in place.iterdir() if path.name not in {*listed, DIGESTS})
    return Check(
        claim="Nothing else lies in the folder",
        how=f"names against {DIGESTS}",
        measured=", ".join(extra) or "nothing else",
        limit="nothing else",
        holds=not extra,
    )


def recheck_page(folder: Path | str, record: dict[str, Any], *, name: str = "traveller.html") -> Check:
    """Return whether the page shows every figure and reason of the JSON traveller as it stands there."""
    path = Path(folder) / name
    text = path.read_text(encoding="utf-8", errors="replace") if path.is_file() else ""
    figures = [figure for section in record.get("sections", []) for figure in section["figures"]]
    wanted = [(figure["label"], figure["shown"]) for figure in figures]
    wanted += [(check["claim"], check["measured"]) for check in record.get("checks", [])]
    wanted += [("verdict", words) for words in (record["verdict"]["sentence"], *record["verdict"]["reasons"])]
    absent = [label for label, words in wanted if html.escape(str(words)) not in text]
    return Check(
        claim=f"{name} says what traveller.json says",
        how="every figure, measured value and reason searched in the page",
        measured=f"not there: {', '.join(dict.fromkeys(absent))}" if absent else f"{len(wanted)} found",
        limit=f"{len(wanted)} found",
        holds=not absent,
    )


def _lines(path: Path) -> list[str]:
    try:
        return path.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise InputFileError(f"'{path}' cannot be read.", remedy="Name the folder of a handover.") from error


def _digest_check(folder: Path, name: str, digest: str, *, source: str) -> Check:
    claim, how = f"{name} is unchanged", f"SHA-256 against {source}"
    limit = digest[:12]
    if Path(name).name != name or not (folder / name).is_file():
        return Check(claim=claim, how=how, measured="absent", limit=limit, holds=False)
    found = sha256_of_file(folder / name)
    return Check(claim=claim, how=how, measured=found[:12], limit=limit, holds=found == digest)


def recheck_formats(folder: Path | str) -> tuple[Check, ...]:
    """Return checks of every STL and 3MF file of a folder: layout, unit and caution."""
    place = Path(folder)
    checks = [_stl_check(path) for path in sorted(place.glob("*.stl"))]
    return tuple(checks + [_package_check(path) for path in sorted(place.glob("*.3mf"))])


def _stl_check(path: Path) -> Check:
    size = path.stat().st_size
    with path.open("rb") as file:
        head = file.read(_STL_HEADER_BYTES)
    wanted = _STL_HEADER_BYTES + _STL_FACE_BYTES * int.from_bytes(head[80:84], "little")
    return Check(
        claim=f"{path.name} is a whole binary STL file",
        how="84 + 50 n bytes, header not 'solid' (StereoLithography Interface Specification, 1989)",
        measured=f"{size} bytes",
        limit=f"{wanted} bytes",
        holds=size == wanted and not head.lower().startswith(b"solid"),
    )


def _package_check(path: Path) -> Check:
    claim, how = f"{path.name} is a whole 3MF file in millimetres with the caution", "3MF core 1.4, 3.4"
    try:
        with zipfile.ZipFile(path) as package:
            broken = package.testzip()
            with package.open(_MODEL) as model:
                head = model.read(_HEAD_BYTES).decode("utf-8", errors="replace")
    except (OSError, KeyError, zipfile.BadZipFile) as error:
        return Check(claim=claim, how=how, measured=type(error).__name__, limit="readable", holds=False)
    faults = [] if broken is None else [f"{broken} damaged"]
    faults += [] if 'unit="millimeter"' in head else ["other unit"]
    faults += [] if escape(cautions.RESEARCH_ONLY) in head else ["no caution"]
    return Check(claim=claim, how=how, measured=", ".join(faults) or "as it should be", holds=not faults)


def findings_of(checks: tuple[Check, ...]) -> tuple[Finding, ...]:
    """Return a finding of severity 'stop' for each check that does not hold."""
    return tuple(
        Finding(
            code="evidence-does-not-hold",
            severity=Severity.STOP,
            message=f"'{check.claim}' does not hold: {check.measured or 'no'}, not {check.limit or 'yes'}.",
            remedy="Run the job again, or find out who changed the file.",
        )
        for check in checks
        if check.holds is False
    )

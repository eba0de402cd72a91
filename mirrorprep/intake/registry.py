"""The registry of file formats: content decides first, the extension second."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from mirrorprep.errors import InputFileError
from mirrorprep.intake.raw import RawMesh, caution
from mirrorprep.progress import Progress
from mirrorprep.solid.finding import Finding


@dataclass(frozen=True, slots=True, kw_only=True)
class Format:
    """One file format.

    Attributes
    ----------
    name : str
        Short name, as `Origin.format` records it.
    title : str
        How messages name it.
    suffixes : tuple of str
        Extensions in lower case with their dot.
    recognises : callable
        Whether the bytes look like this format; quick, and never raises.
    read : callable
        Bytes to `RawMesh`; raises `InputFileError`.
    """

    name: str
    title: str
    suffixes: tuple[str, ...]
    recognises: Callable[[bytes], bool]
    read: Callable[[bytes, Progress], RawMesh]


FORMATS: Final[dict[str, Format]] = {}

_OTHERS: Final = (
    (b"\x1f\x8b", "a gzip archive"),
    (b"\x89PNG", "a PNG picture"),
    (b"\xff\xd8\xff", "a JPEG picture"),
    (b"%PDF", "a PDF document"),
    (b"ISO-10303-21", "a STEP model"),
    (b"ASTM-E57", "an E57 point cloud"),
    (b"LASF", "an LAS point cloud"),
    (b"version https://git-lfs", "a pointer to a file that was not downloaded"),
    (b"<!doctype html", "a web page"),
    (b"<html", "a web page"),
    (b"<?xml", "an XML document"),
    (b"PK\x03\x04", "an archive; unpack it first"),
    (b"{", "JSON text (a glTF with separate buffers reads once it is packed as GLB)"),
    (b"# vtk datafile", "a VTK data file"),
    (b"# .pcd", "a point cloud"),
    (b"meshversionformatted", "a finite-element mesh"),
    (b"$meshformat", "a finite-element mesh"),
)


def register(entry: Format) -> Format:
    """Add a format; each format's module calls this once."""
    FORMATS[entry.name] = entry
    return entry


def known_suffixes() -> str:
    """Return the extensions of all formats for messages."""
    return ", ".join(sorted(suffix for entry in FORMATS.values() for suffix in entry.suffixes))


def choose(data: bytes, suffix: str) -> tuple[Format, tuple[Finding, ...]]:
    """Return the format of a file from its bytes and its extension.

    Raises
    ------
    InputFileError
        If neither tells.
    """
    named = next((entry for entry in FORMATS.values() if suffix.lower() in entry.suffixes), None)
    if named is not None and named.recognises(data):
        return named, ()
    found = next((entry for entry in FORMATS.values() if entry.recognises(data)), None)
    if found is None and named is not None and foreign_kind(data) is None:
        return named, ()  # let that reader say what is wrong
    if found is None:
        raise InputFileError(
            f"The content is {foreign_kind(data) or 'of no known format'}, not a scan that can be read.",
            remedy=f"Export the scan as one of {known_suffixes()}.",
        )
    if named is None:
        return found, ()
    message = f"The extension says {named.title}, but the content is {found.title}; it was read as that."
    return found, (caution("extension-mismatch", message, remedy="Rename the file."),)


def foreign_kind(data: bytes) -> str | None:
    """Return what else the bytes are known to be, or None."""
    head = data[:64].lstrip().lower()
    return next((kind for magic, kind in _OTHERS if head.startswith(magic.lower())), None)

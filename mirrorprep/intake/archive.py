"""ZIP archives opened with distrust: names, sizes, ratios and kinds are judged before anything unfolds."""

import io
import zipfile
import zlib
from collections.abc import Iterator
from typing import Final

from mirrorprep.intake.limits import MAX_DIRECTORY_BYTES, MAX_FILE_BYTES, MAX_RATIO
from mirrorprep.intake.raw import refuse

_BLOCK_BYTES: Final = 2**18
_SMALL_BYTES: Final = 2**20
_END_MARK: Final = b"PK\x05\x06"
_END_BYTES: Final = 22
_ENCRYPTED: Final = 0x1


class Archive:
    """The entries of a ZIP archive held in memory; nothing is ever written to disk.

    Parameters
    ----------
    data : bytes
        The whole archive.

    Raises
    ------
    InputFileError
        If it is damaged, encrypted, too large once unfolded, or an entry's name leads out of it.
    """

    def __init__(self, data: bytes) -> None:
        _check_directory(data)
        try:
            self._zip = zipfile.ZipFile(io.BytesIO(data))
        except (zipfile.BadZipFile, ValueError, OSError, NotImplementedError, EOFError):
            refuse("The archive's table of contents is damaged: the file is cut short or was changed.")
        self._entries: dict[str, zipfile.ZipInfo] = {}
        for info in self._zip.infolist():
            name = _checked_name(info.filename)
            if name in self._entries:
                refuse(f"The archive holds the name '{name[:60]}' twice.")
            self._entries[name] = info
        self._unfolded = 0

    @property
    def names(self) -> list[str]:
        """The names of all entries, in lower case (names of parts do not tell case apart)."""
        return list(self._entries)

    def blocks(self, name: str) -> Iterator[bytes]:
        """Yield an entry's content in small blocks, counting bytes while they unfold."""
        info = self._entries.get(name.lower())
        if info is None:
            refuse(f"The archive lacks the part '{name[:80]}' that it refers to.")
        self._check_entry(info)
        try:
            with self._zip.open(info) as stream:
                while block := stream.read(_BLOCK_BYTES):
                    self._unfolded += len(block)
                    if self._unfolded > MAX_FILE_BYTES:
                        refuse(f"The archive unfolds to more than {MAX_FILE_BYTES} bytes.")
                    yield block
        except (zipfile.BadZipFile, zlib.error, EOFError, OSError, ValueError, NotImplementedError):
            refuse(f"The part '{name[:80]}' of the archive is damaged.")

    def _check_entry(self, info: zipfile.ZipInfo) -> None:
        if info.flag_bits & _ENCRYPTED:
            refuse("The archive is encrypted.", "Export it without a password.")
        if info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            refuse(f"The archive uses compression method {info.compress_type} (0 and 8 are read).")
        if info.file_size > MAX_FILE_BYTES:
            refuse(f"A part of the archive unfolds to {info.file_size} bytes (limit {MAX_FILE_BYTES}).")
        ratio = info.file_size / max(info.compress_size, 1)
        if info.file_size > _SMALL_BYTES and ratio > MAX_RATIO:
            refuse(
                f"A part of the archive unfolds {ratio:.0f} times its packed size (limit {MAX_RATIO}), "
                "which no scan does.",
                "Do not use this file; export the scan again.",
            )


def _check_directory(data: bytes) -> None:
    """Refuse a table of contents that would itself take much memory."""
    end = data.rfind(_END_MARK, max(0, len(data) - 2**16 - _END_BYTES))
    if end < 0 or len(data) < end + _END_BYTES:
        refuse("The archive has no table of contents: the file is cut short.")
    size = int.from_bytes(data[end + 12 : end + 16], "little")
    if size > MAX_DIRECTORY_BYTES:
        refuse(f"The archive's table of contents takes {size} bytes (limit {MAX_DIRECTORY_BYTES}).")


def _checked_name(name: str) -> str:
    """Return an entry's name in lower case after refusing one that leads out of the archive."""
    steps = name.replace("\\", "/").split("/")
    if name.startswith(("/", "\\")) or ".." in steps or ":" in steps[0] or "\x00" in name:
        refuse(
            "The archive holds a name that leads out of it, as only a hostile file does.",
            "Do not use this file.",
        )
    return "/".join(steps).lower()

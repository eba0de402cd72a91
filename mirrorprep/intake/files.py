"""Opening a file without being trapped by it: only regular files, bounded size, every failure explained."""

import os
import stat
from pathlib import Path
from typing import Final

from mirrorprep.errors import InputFileError
from mirrorprep.intake.limits import MAX_FILE_BYTES

_KINDS: Final = (
    (stat.S_ISDIR, "a folder"),
    (stat.S_ISFIFO, "a pipe"),
    (stat.S_ISSOCK, "a socket"),
    (stat.S_ISCHR, "a device"),
    (stat.S_ISBLK, "a device"),
)


def file_bytes(path: Path) -> bytes:
    """Return the whole content of a regular file.

    Raises
    ------
    InputFileError
        If it is missing, unreadable, not a regular file, empty or larger than the limit.
    """
    descriptor = _opened(path)
    try:
        with os.fdopen(descriptor, "rb", closefd=False) as stream:
            status = os.fstat(descriptor)
            _check_status(status)
            data = stream.read(status.st_size + 1)
    except OSError as error:
        raise InputFileError(
            f"The file cannot be read ({error.strerror}).", remedy="Copy it to a local disk and try again."
        ) from None
    except MemoryError:
        raise InputFileError(
            "The file needs more memory than is free.", remedy="Reduce the scan before exporting it."
        ) from None
    finally:
        os.close(descriptor)
    _check_size(len(data))
    if len(data) > status.st_size:
        raise InputFileError(
            "The file grew while it was read.", remedy="Wait until it is written and try again."
        )
    return data


def _opened(path: Path) -> int:
    # Opening a pipe would wait for a writer; O_NONBLOCK returns at once and is ignored for files.
    flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
    try:
        if path.is_dir():
            _check_status(path.stat())
        return os.open(path, flags)
    except FileNotFoundError:
        message = f"There is no file '{path}'."
    except PermissionError:
        message = f"The file '{path}' may not be read by this user."
    except (OSError, ValueError) as error:
        message = f"The file cannot be opened ({getattr(error, 'strerror', None) or error})."
    raise InputFileError(message, remedy="Check the name, the folder and the rights.")


def _check_status(status: os.stat_result) -> None:
    for is_kind, name in _KINDS:
        if is_kind(status.st_mode):
            raise InputFileError(f"The path leads to {name}, not to a file.", remedy="Name a scan file.")
    if stat.S_ISREG(status.st_mode) and status.st_size > MAX_FILE_BYTES:
        _check_size(status.st_size)


def _check_size(size: int) -> None:
    if size == 0:
        raise InputFileError("The file is empty (0 bytes).", remedy="Export the scan again.")
    if size > MAX_FILE_BYTES:
        raise InputFileError(
            f"The file has {size} bytes (limit {MAX_FILE_BYTES}).",
            remedy="Export it as a binary format, or reduce the scan first.",
        )

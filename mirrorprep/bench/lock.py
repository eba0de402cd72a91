"""A lock on a folder that the system lets go of when its holder ends, however that ended."""

import os
import sys
from pathlib import Path
from typing import IO, Final

from mirrorprep.errors import OutputError

LOCK_FILE: Final = ".bench.lock"


def hold(folder: Path) -> IO[bytes]:
    """Return the open lock file of a folder; closing it lets the folder go.

    Raises
    ------
    OutputError
        If another bench holds the folder, or it is not writable.
    """
    try:
        file = open(folder / LOCK_FILE, "ab")  # noqa: SIM115 - it stays open as long as it holds
    except OSError as error:
        reason = (error.strerror or "not writable").lower()
        raise OutputError(
            f"The folder '{folder}' cannot be used: {reason}.", remedy="Name a folder you may write to."
        ) from error
    try:
        _lock(file)
    except OSError as error:
        file.close()
        raise OutputError(
            f"The folder '{folder}' is open on another bench.",
            remedy="Go on there, close that one, or name another folder.",
        ) from error
    return file


def _lock(file: IO[bytes]) -> None:
    if sys.platform == "win32":
        import msvcrt

        file.seek(0, os.SEEK_SET)
        msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
    else:
        import fcntl

        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)

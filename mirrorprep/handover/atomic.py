"""Files written whole or not at all: a temporary file in the same folder, then one rename."""

import errno
import os
import secrets
import shutil
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO, Final

from mirrorprep.errors import OutputError

PREFIX: Final = ".mirrorprep-"
SUFFIX: Final = ".part"

_FULL: Final = {errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC)}
_CLOSED: Final = {errno.EACCES, errno.EPERM, errno.EROFS}


@contextmanager
def atomic_write(path: Path | str, *, overwrite: bool = False) -> Iterator[IO[bytes]]:
    """Open a binary file that appears under `path` only when the block ends without an error.

    Parameters
    ----------
    path : path-like
        The file to write. Its folder must exist (see `output_folder`).
    overwrite : bool
        Replace an existing file; without it an existing file is an error.

    Yields
    ------
    binary file, seekable

    Raises
    ------
    OutputError
        If the folder is missing or not writable, the file exists and `overwrite` is False, or the disk
        is full. Nothing is left behind.

    Notes
    -----
    The data reach the disk (fsync) before the rename, so that a power cut or a killed process leaves
    the old file or the new one. A killed process can leave a hidden ``.mirrorprep-*.part`` file, which
    `remove_leftovers` takes away.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     with atomic_write(Path(folder) / "a.txt") as file:
    ...         _ = file.write(b"whole")
    ...     (Path(folder) / "a.txt").read_bytes()
    b'whole'
    """
    shown = Path(path)
    target = Path(os.path.realpath(shown))
    temporary = target.with_name(f"{PREFIX}{secrets.token_hex(8)}{SUFFIX}")
    try:
        _refuse_bad_target(shown, target, overwrite=overwrite)
        with open(temporary, "xb") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        _put_in_place(temporary, target, overwrite=overwrite)
    except OSError as error:
        raise _output_error(shown, error) from error
    finally:
        with suppress(OSError):
            temporary.unlink(missing_ok=True)


def write_bytes(path: Path | str, data: bytes, *, overwrite: bool = False) -> Path:
    """Write `data` whole or not at all and return the path; errors as `atomic_write`."""
    with atomic_write(path, overwrite=overwrite) as file:
        file.write(data)
    return Path(path)


def write_text(path: Path | str, text: str, *, overwrite: bool = False) -> Path:
    r"""Write UTF-8 text with ``\n`` line ends, the same bytes on every system; errors as `atomic_write`."""
    return write_bytes(path, text.encode("utf-8"), overwrite=overwrite)


def output_folder(path: Path | str) -> Path:
    """Return the folder `path`, made with its parents when absent.

    Raises
    ------
    OutputError
        If it cannot be made, or a file has its name.
    """
    folder = Path(path)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except (FileExistsError, NotADirectoryError) as error:
        raise OutputError(f"'{folder}' is not a folder.", remedy="Name a folder for the results.") from error
    except OSError as error:
        raise _output_error(folder, error) from error
    return folder


def remove_leftovers(folder: Path | str) -> int:
    """Remove the hidden temporary files that a killed process left in `folder`; return how many."""
    found = sorted(Path(folder).glob(f"{PREFIX}*{SUFFIX}"))
    for file in found:
        file.unlink(missing_ok=True)
    return len(found)


def _refuse_bad_target(shown: Path, target: Path, *, overwrite: bool) -> None:
    if target.is_dir():
        raise OutputError(f"'{shown}' is a folder.", remedy="Name a file.")
    if target.exists() and not overwrite:
        raise already_there(shown)
    if not target.parent.is_dir():
        raise OutputError(
            f"'{shown}' cannot be written: its folder does not exist.", remedy="Make the folder first."
        )


def _put_in_place(temporary: Path, target: Path, *, overwrite: bool) -> None:
    if overwrite:
        if target.exists():
            shutil.copymode(target, temporary)
        os.replace(temporary, target)
    else:
        _move_unless_taken(temporary, target)
    _flush_folder(target.parent)


def _move_unless_taken(temporary: Path, target: Path) -> None:
    """Move without replacing a file that appeared meanwhile, where the file system can tell."""
    take: Callable[[Path, Path], None] = os.rename if sys.platform == "win32" else os.link
    try:
        take(temporary, target)
    except FileExistsError:
        raise
    except OSError:  # a file system without hard links
        if target.exists():
            raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST)) from None
        os.replace(temporary, target)


def _flush_folder(folder: Path) -> None:
    """Make the rename itself durable, where folders can be flushed."""
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def already_there(shown: Path) -> OutputError:
    """Return the error for a file that exists and may not be replaced."""
    return OutputError(
        f"'{shown}' exists already.", remedy="Choose another name or ask for it to be overwritten."
    )


def _output_error(shown: Path, error: OSError) -> OutputError:
    if isinstance(error, FileExistsError):
        return already_there(shown)
    if error.errno in _FULL:
        return OutputError(
            f"'{shown}' cannot be written: the disk is full.", remedy="Free space and run again."
        )
    if error.errno in _CLOSED:
        return OutputError(
            f"'{shown}' cannot be written: its folder is not writable.",
            remedy="Choose a folder you may write to.",
        )
    reason = (error.strerror or type(error).__name__).lower()
    return OutputError(f"'{shown}' cannot be written: {reason}.", remedy="Check the name and the disk.")

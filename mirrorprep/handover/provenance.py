"""Provenance: digests of files, versions of libraries, settings as flat names and values."""

from collections.abc import Iterable, Mapping
from dataclasses import fields, is_dataclass
from hashlib import file_digest
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from platform import python_version
from typing import Any, Final

from mirrorprep.errors import InputFileError
from mirrorprep.handover.atomic import write_text

PRODUCED_BY: Final = f"mirrorprep {version('mirrorprep')}"

LIBRARIES: Final = ("mirrorprep", "numpy", "scipy", "manifold3d", "trimesh", "vtk", "matplotlib", "reportlab")
"""Packages whose version can change a result."""

DIGESTS: Final = "SHA256SUMS"
"""Name of the list of digests, in the form that ``sha256sum --check`` reads."""


def sha256_of_file(path: Path | str) -> str:
    """Return the SHA-256 of a file as 64 hex digits.

    Raises
    ------
    InputFileError
        If it cannot be read.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     file = Path(folder) / "empty"
    ...     _ = file.write_bytes(b"")
    ...     sha256_of_file(file)[:16]
    'e3b0c44298fc1c14'
    """
    try:
        with open(path, "rb") as file:
            return file_digest(file, "sha256").hexdigest()
    except OSError as error:
        raise InputFileError(f"'{path}' cannot be read.", remedy="Check the name and the folder.") from error


def library_versions(names: Iterable[str] = LIBRARIES) -> dict[str, str]:
    """Return the version of Python and of each package, 'absent' where one is not installed."""
    return {"python": python_version(), **{name: _version(name) for name in names}}


def _version(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return "absent"


def flat_settings(settings: Any, *, prefix: str = "") -> dict[str, Any]:  # noqa: ANN401 - mapping or record
    """Return nested settings (mappings, dataclasses) as dotted names and plain values.

    Examples
    --------
    >>> flat_settings({"mould": {"wall_mm": 6.0, "pull": (0, 0, 1)}, "seed": 0})
    {'mould.wall_mm': 6.0, 'mould.pull': [0, 0, 1], 'seed': 0}
    """
    if is_dataclass(settings) and not isinstance(settings, type):
        settings = {item.name: getattr(settings, item.name) for item in fields(settings)}
    if isinstance(settings, Mapping):
        flat: dict[str, Any] = {}
        for name, value in settings.items():
            flat |= flat_settings(value, prefix=f"{prefix}.{name}" if prefix else str(name))
        return flat
    value = settings.tolist() if hasattr(settings, "tolist") else settings
    return {prefix: list(value) if isinstance(value, tuple) else value}


def write_digests(folder: Path | str, names: Iterable[str], *, overwrite: bool = False) -> Path:
    """Write the SHA-256 of files of a folder into its list of digests.

    Parameters
    ----------
    folder : path-like
        Where the files lie.
    names : iterable of str
        Names within the folder.
    overwrite : bool
        Replace an existing list.

    Returns
    -------
    Path
        The list; ``sha256sum --check SHA256SUMS`` reads it too.

    Raises
    ------
    InputFileError
        If a file cannot be read.
    OutputError
        If the list cannot be written.
    """
    place = Path(folder)
    lines = [f"{sha256_of_file(place / name)}  {name}\n" for name in sorted(names)]
    return write_text(place / DIGESTS, "".join(lines), overwrite=overwrite)

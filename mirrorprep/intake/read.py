"""Reading a scan: from a file of any known format to a ScanMesh in millimetres."""

from collections.abc import Iterator
from contextlib import contextmanager
from os import PathLike
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from mirrorprep.errors import InputFileError, MirrorPrepError, UsageError
from mirrorprep.intake import glb, obj, off, ply, stl, threemf  # noqa: F401 - each registers itself
from mirrorprep.intake.coordinates import coarse, refuse_extent, without_gaps
from mirrorprep.intake.files import file_bytes
from mirrorprep.intake.identity import sha256_of
from mirrorprep.intake.raw import RawMesh, caution
from mirrorprep.intake.registry import choose
from mirrorprep.intake.welding import welded
from mirrorprep.progress import SILENT, Progress
from mirrorprep.solid.finding import Finding
from mirrorprep.solid.mesh import Origin, ScanMesh
from mirrorprep.units import mm_per_unit

FloatArray = NDArray[np.float64]


def read_scan(
    path: str | PathLike[str],
    units: str | None = None,
    *,
    weld_mm: float | None = None,
    progress: Progress = SILENT,
) -> ScanMesh:
    r"""Read a scan of any known format into millimetres.

    The content decides the format, the extension only where the content leaves it open. Nothing is
    repaired, moved or left out without a finding.

    Parameters
    ----------
    path : path-like
        An STL, PLY, OBJ, OFF, GLB or 3MF file.
    units : str, optional
        Unit of the file's numbers, as `mirrorprep.units` names it. Without it the format's own unit counts
        (3MF, GLB); where there is none, millimetres are assumed and the finding ``unit-guessed`` says so.
    weld_mm : float, optional
        None, the default, welds only formats that store bare corners (STL), where corners are equal bit
        for bit, and leaves indexed formats as they are. Zero welds any format that way. A positive value
        also joins vertices linked by steps of at most that many millimetres.
    progress : Progress
        Told of each step.

    Returns
    -------
    ScanMesh
        Its `origin` holds format, unit, digest and the findings of the reader, and no name.

    Raises
    ------
    InputFileError
        If the file cannot be read as a scan; the message says what was found and what to do.
    UsageError
        If the unit or the tolerance is not possible.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = Path(folder, "corner.obj")
    ...     _ = path.write_text("v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n")
    ...     read_scan(path, units="cm").size_mm.tolist()
    [10.0, 10.0, 0.0]
    """
    _check_options(units, weld_mm)
    place = _as_path(path)
    data = file_bytes(place)
    progress.step("reading", 0.0)
    entry, findings = choose(data, place.suffix)
    digest = sha256_of(data)
    with _errors_mapped(entry.title):
        raw = entry.read(data, progress.part(0.05, 0.7)).noting(*findings)
        del data
        progress.step("welding", 0.7)
        mesh = _scan_mesh(raw, entry.name, digest, (units, weld_mm))
    progress.step("reading", 1.0)
    return mesh


def _check_options(units: str | None, weld_mm: float | None) -> None:
    if units is not None:
        mm_per_unit(units)
    if weld_mm is not None and not 0.0 <= weld_mm < np.inf:
        raise UsageError(f"A welding tolerance of {weld_mm} mm is not possible.", remedy="Give 0 or more.")


def _as_path(path: str | PathLike[str]) -> Path:
    try:
        return Path(path)
    except TypeError:
        raise UsageError(
            f"A scan is named by its path, not by {type(path).__name__}.", remedy="Give a path."
        ) from None


@contextmanager
def _errors_mapped(title: str) -> Iterator[None]:
    """Let whatever goes wrong inside leave as an InputFileError."""
    try:
        with np.errstate(all="ignore"):  # numbers near the limits of floats overflow and are then refused
            yield
    except MirrorPrepError:
        raise
    except MemoryError:
        message = f"The {title} file needs more memory than is free."
        raise InputFileError(message, remedy="Reduce the scan before exporting it.") from None
    except Exception as error:
        message = f"The {title} file is damaged in a way that stops the reader ({type(error).__name__})."
        raise InputFileError(message, remedy="Export the scan again.") from error


def _scan_mesh(raw: RawMesh, name: str, digest: str, options: tuple[str | None, float | None]) -> ScanMesh:
    asked_unit, weld_mm = options
    raw, bounds = without_gaps(raw)
    unit, findings = _unit(raw.unit, asked_unit, bounds[1] - bounds[0])
    scale = mm_per_unit(unit)
    refuse_extent(raw.vertices, bounds, scale)
    raw = raw.noting(*findings, *coarse(raw.vertices, bounds, scale))
    raw, faces = welded(raw, weld_mm, scale)
    vertices = raw.vertices.astype(np.float64)
    vertices *= scale
    origin = Origin(format=name, units=unit, sha256=digest, findings=raw.findings)
    return ScanMesh(vertices=vertices, faces=faces, colors=raw.colors, origin=origin)


def _unit(stated: str | None, asked: str | None, size: FloatArray) -> tuple[str, tuple[Finding, ...]]:
    """Return the unit to take, from what the file states and the user asks, and what to say about it."""
    shown = " × ".join(f"{length:.3g}" for length in size)
    if asked is None and stated is None:
        message = f"The file states no unit; its numbers were taken as millimetres ({shown} mm)."
        return "mm", (caution("unit-guessed", message, remedy="State the unit (mm, cm, m, in)."),)
    if asked is None or stated is None or asked == stated:
        return asked or stated or "mm", ()
    message = f"The file is in {stated}, but {asked} was stated; it was read in {asked} ({shown} {asked})."
    remedy = "Leave the unit out to use the file's own."
    return asked, (caution("unit-contradicts-file", message, remedy=remedy),)

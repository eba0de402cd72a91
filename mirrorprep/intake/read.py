"""Reading a scan: from a file of any known format to a ScanMesh in millimetres."""

from os import PathLike
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from mirrorprep.errors import InputFileError, MirrorPrepError, UsageError
from mirrorprep.geometry.weld import Weld, weld_exact, weld_within
from mirrorprep.intake import glb, obj, off, ply, stl, threemf  # noqa: F401 - each registers itself
from mirrorprep.intake.files import file_bytes
from mirrorprep.intake.identity import sha256_of
from mirrorprep.intake.limits import MAX_COORDINATE_MM
from mirrorprep.intake.raw import RawMesh, caution, note, refuse
from mirrorprep.intake.registry import Format, choose
from mirrorprep.progress import SILENT, Progress
from mirrorprep.solid.finding import Finding
from mirrorprep.solid.mesh import Origin, ScanMesh
from mirrorprep.units import mm_per_unit

FloatArray = NDArray[np.float64]
COARSE_STEP_MM = 0.01
"""Coordinates coarser than this, because the file stores few digits far from the origin, are a caution."""


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
        Unit of the file's numbers, as `mirrorprep.units` names it. Without it the unit is that of the
        format (3MF states one, GLB is in metres); where the format has none, millimetres are assumed and
        the finding ``unit-guessed`` says so.
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
    >>> text = "v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n"
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = Path(folder, "corner.obj")
    ...     _ = path.write_text(text)
    ...     mesh = read_scan(path, units="cm")
    >>> mesh.size_mm.tolist()
    [10.0, 10.0, 0.0]
    """
    if units is not None:
        mm_per_unit(units)
    if weld_mm is not None and not 0.0 <= weld_mm < np.inf:
        raise UsageError(f"A welding tolerance of {weld_mm} mm is not possible.", remedy="Give 0 or more.")
    place = _as_path(path)
    data = file_bytes(place)
    progress.step("reading", 0.0)
    entry, findings = choose(data, place.suffix)
    digest = sha256_of(data)
    raw = _raw_mesh(entry, data, progress.part(0.05, 0.7)).noting(*findings)
    del data
    progress.step("welding", 0.7)
    with np.errstate(all="ignore"):  # numbers near the limits of floats overflow and are then refused
        mesh = _scan_mesh(raw, entry, digest, (units, weld_mm))
    progress.step("reading", 1.0)
    return mesh


def _as_path(path: str | PathLike[str]) -> Path:
    try:
        return Path(path)
    except TypeError:
        raise UsageError(
            f"A scan is named by its path, not by {type(path).__name__}.", remedy="Give a path."
        ) from None


def _raw_mesh(entry: Format, data: bytes, progress: Progress) -> RawMesh:
    """Run a reader; whatever goes wrong inside it leaves as an InputFileError."""
    try:
        with np.errstate(all="ignore"):
            return entry.read(data, progress)
    except MirrorPrepError:
        raise
    except MemoryError:
        message = f"The {entry.title} file needs more memory than is free."
        raise InputFileError(message, remedy="Reduce the scan before exporting it.") from None
    except Exception as error:
        message = (
            f"The {entry.title} file is damaged in a way that stops the reader ({type(error).__name__})."
        )
        raise InputFileError(message, remedy="Export the scan again.") from error


def _scan_mesh(
    raw: RawMesh, entry: Format, digest: str, options: tuple[str | None, float | None]
) -> ScanMesh:
    asked_unit, weld_mm = options
    raw = _without_unused_gaps(raw)
    unit, findings = _unit(raw, asked_unit)
    raw = raw.noting(*findings)
    scale = mm_per_unit(unit)
    _refuse_far(raw.vertices, scale)
    raw, faces = _welded(raw, weld_mm, scale)
    raw = raw.noting(*_coarse(raw.vertices, scale))
    vertices = raw.vertices.astype(np.float64)
    vertices *= scale
    origin = Origin(format=entry.name, units=unit, sha256=digest, findings=raw.findings)
    return ScanMesh(vertices=vertices, faces=faces, colors=raw.colors, origin=origin)


def _without_unused_gaps(raw: RawMesh) -> RawMesh:
    """Refuse coordinates that are no numbers; drop them where no triangle uses them."""
    finite = np.isfinite(raw.vertices)
    if finite.all():
        return raw
    bad = ~finite.all(axis=1)
    count = int(bad.sum())
    if raw.faces is None:
        first = int(np.argmax(bad))
        refuse(
            f"{count} corners have a coordinate that is not a finite number "
            f"(first: triangle {first // 3 + 1}).",
            "Remove those triangles in the scanner's software and export again.",
        )
    hit = bad[raw.faces].any(axis=1)
    if hit.any():
        refuse(
            f"{count} vertices have a coordinate that is not a finite number, and {int(hit.sum())} triangles "
            f"use them (first: vertex {int(np.argmax(bad)) + 1}).",
            "Remove those vertices in the scanner's software and export again.",
        )
    renumbered = np.cumsum(~bad) - 1
    message = f"{count} vertices without finite coordinates belong to no triangle; they were left out."
    finding = note("empty-vertices", message, measured=count)
    colors = None if raw.colors is None else raw.colors[~bad]
    kept = RawMesh(vertices=raw.vertices[~bad], faces=renumbered[raw.faces], colors=colors, unit=raw.unit)
    return kept.noting(*raw.findings, finding)


def _unit(raw: RawMesh, asked: str | None) -> tuple[str, tuple[Finding, ...]]:
    size = raw.vertices.max(axis=0).astype(np.float64) - raw.vertices.min(axis=0)
    shown = " × ".join(f"{length:.3g}" for length in size)
    if asked is None and raw.unit is None:
        message = f"The file states no unit; its numbers were taken as millimetres ({shown} mm)."
        return "mm", (caution("unit-guessed", message, remedy="State the unit (mm, cm, m, in)."),)
    if asked is None or raw.unit is None or asked == raw.unit:
        return asked or raw.unit or "mm", ()
    message = (
        f"The file is in {raw.unit}, but {asked} was stated; its numbers were taken as {asked} "
        f"({shown} {asked})."
    )
    remedy = "Leave the unit out to use the file's own."
    return asked, (caution("unit-contradicts-file", message, remedy=remedy),)


def _refuse_far(vertices: NDArray[Any], scale: float) -> None:
    if max(float(vertices.max()), -float(vertices.min())) * scale > MAX_COORDINATE_MM:
        reach = np.abs(vertices).max(axis=1).astype(np.float64) * scale
        far = reach > MAX_COORDINATE_MM
        refuse(
            f"{int(far.sum())} vertices lie beyond {MAX_COORDINATE_MM:g} mm from the origin (first: vertex "
            f"{int(np.argmax(far)) + 1} at {reach[np.argmax(far)]:.3g} mm).",
            "State the right unit, or move the scan to the origin before exporting it.",
        )


def _coarse(vertices: NDArray[Any], scale: float) -> tuple[Finding, ...]:
    """Return a caution if the file's own number format cannot hold the detail of a scan where it lies."""
    if vertices.dtype != np.float32:
        return ()
    step = float(np.spacing(np.abs(vertices).max())) * scale
    if step <= COARSE_STEP_MM:
        return ()
    message = (
        f"The scan lies so far from the origin that the file's numbers step by {step:.2g} mm "
        f"(limit {COARSE_STEP_MM} mm)."
    )
    remedy = "Move the scan to the origin before exporting it."
    return (caution("coarse-coordinates", message, remedy=remedy, measured=step),)


def _welded(raw: RawMesh, weld_mm: float | None, scale: float) -> tuple[RawMesh, NDArray[np.int64]]:
    """Return the mesh welded as asked, and its faces: bare corners always, indexed vertices on request."""
    corners = raw.faces is None
    faces = np.arange(len(raw.vertices)).reshape(-1, 3) if raw.faces is None else raw.faces
    exact = weld_exact(raw.vertices)
    if not corners and weld_mm is None:
        return raw.noting(*_shared_places(raw, exact)), faces
    weld = weld_within(raw.vertices, weld_mm / scale) if weld_mm else exact
    findings = _weld_findings(weld, exact, faces, weld_mm) if weld_mm or not corners else ()
    colors = None if raw.colors is None else raw.colors[weld.kept]
    merged = RawMesh(vertices=raw.vertices[weld.kept], faces=None, colors=colors, unit=raw.unit)
    return merged.noting(*raw.findings, *findings), weld.label[faces]


def _shared_places(raw: RawMesh, exact: Weld) -> tuple[Finding, ...]:
    if exact.merged == 0 or raw.faces is None:
        return ()
    soup = len(raw.vertices) == 3 * len(raw.faces) == len(np.unique(raw.faces))
    start = "No two triangles share a vertex" if soup else "Vertices share their place with others"
    message = (
        f"{start}: {exact.merged} of {len(raw.vertices)} vertices lie exactly on another one; "
        "they were kept apart."
    )
    remedy = "If the surface should hang together there, read it with a welding tolerance of 0 mm."
    return (note("shared-places", message, remedy=remedy, measured=exact.merged),)


def _weld_findings(
    weld: Weld, exact: Weld, faces: NDArray[np.int64], weld_mm: float | None
) -> tuple[Finding, ...]:
    found = weld.label[faces]
    before = exact.label[faces]
    thin = int(_repeats(found).sum() - _repeats(before).sum())
    message = (
        f"Welding within {weld_mm or 0:g} mm joined {weld.merged} vertices, {exact.merged} of them at "
        f"exactly the same place; {thin} triangles lost their area."
    )
    return (note("welded", message, measured=weld.merged),)


def _repeats(faces: NDArray[np.int64]) -> NDArray[np.bool_]:
    a, b, c = faces.T
    return np.asarray((a == b) | (b == c) | (c == a))

"""Coordinates that no scan can have: not finite, too far away, all in one point, or too coarse."""

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from mirrorprep.intake.limits import MAX_COORDINATE_MM
from mirrorprep.intake.raw import RawMesh, caution, note, refuse
from mirrorprep.solid.finding import Finding

FloatArray = NDArray[np.float64]

COARSE_STEP_MM: Final = 0.01
"""Coordinates coarser than this, because the file stores few digits far from the origin, are a caution."""


def without_gaps(raw: RawMesh) -> tuple[RawMesh, FloatArray]:
    """Return the mesh without unused vertices that are not finite, and its bounds in the file's unit.

    Returns
    -------
    RawMesh
        The mesh itself when every coordinate is finite.
    (2, 3) float64
        Lowest and highest corner.

    Raises
    ------
    InputFileError
        If a triangle uses a coordinate that is not finite; with the count and the first place.
    """
    bounds = _bounds(raw.vertices)
    if np.isfinite(bounds).all():
        return raw, bounds
    bad = ~np.isfinite(raw.vertices).all(axis=1)
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
    return kept.noting(*raw.findings, finding), _bounds(kept.vertices)


def _bounds(vertices: NDArray[Any]) -> FloatArray:
    """Return the lowest and highest corner; not finite where any coordinate is not."""
    columns = [vertices[:, axis] for axis in range(3)]  # a column at a time is ten times as fast as axis=0
    return np.array(
        [[column.min() for column in columns], [column.max() for column in columns]], dtype=np.float64
    )


def refuse_extent(vertices: NDArray[Any], bounds: FloatArray, scale: float) -> None:
    """Refuse a mesh that reaches too far or has no size at all; `scale` is millimetres per unit.

    Raises
    ------
    InputFileError
        With the count and the first place.
    """
    if np.abs(bounds).max() * scale > MAX_COORDINATE_MM:
        reach = np.abs(vertices).max(axis=1).astype(np.float64) * scale
        far = reach > MAX_COORDINATE_MM
        refuse(
            f"{int(far.sum())} vertices lie beyond {MAX_COORDINATE_MM:g} mm from the origin (first: vertex "
            f"{int(np.argmax(far)) + 1} at {reach[np.argmax(far)]:.3g} mm).",
            "State the right unit, or move the scan to the origin before exporting it.",
        )
    if (bounds[0] == bounds[1]).all():
        refuse(f"All {len(vertices)} vertices lie in one point.")


def coarse(vertices: NDArray[Any], bounds: FloatArray, scale: float) -> tuple[Finding, ...]:
    """Return a caution if the file's own number format cannot hold the detail of a scan where it lies."""
    if vertices.dtype != np.float32:
        return ()
    step = float(np.spacing(np.float32(np.abs(bounds).max()))) * scale
    if step <= COARSE_STEP_MM:
        return ()
    message = (
        f"The scan lies so far from the origin that the file's numbers step by {step:.2g} mm "
        f"(limit {COARSE_STEP_MM} mm)."
    )
    remedy = "Move the scan to the origin before exporting it."
    return (caution("coarse-coordinates", message, remedy=remedy, measured=step),)

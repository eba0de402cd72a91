"""Welding what was read: bare corners always, indexed vertices only on request."""

import numpy as np
from numpy.typing import NDArray

from mirrorprep.errors import UsageError
from mirrorprep.geometry.weld import Weld, weld_exact, weld_within
from mirrorprep.intake.raw import RawMesh, note
from mirrorprep.solid.finding import Finding

IntArray = NDArray[np.int64]


def welded(raw: RawMesh, weld_mm: float | None, scale: float) -> tuple[RawMesh, IntArray]:
    """Return the mesh welded as asked, and its faces.

    Parameters
    ----------
    raw : RawMesh
        Bare corners are welded where they are equal bit for bit, whatever was asked.
    weld_mm : float or None
        None leaves indexed vertices apart and notes how many share a place; zero joins those; a positive
        value also joins vertices linked by steps of at most that many millimetres.
    scale : float
        Millimetres per unit of the mesh.

    Raises
    ------
    UsageError
        If the tolerance is so large that no triangle is left, or links too many vertices.
    """
    exact = weld_exact(raw.vertices)
    if raw.faces is not None and weld_mm is None:
        return raw.noting(*_shared_places(raw, raw.faces, exact)), raw.faces
    faces = np.arange(len(raw.vertices)).reshape(-1, 3) if raw.faces is None else raw.faces
    weld = weld_within(raw.vertices.astype(np.float64) * scale, weld_mm) if weld_mm else exact
    after = weld.label[faces]
    findings: tuple[Finding, ...] = ()
    if weld_mm or raw.faces is not None:
        findings = (_weld_finding(weld, exact, faces, weld_mm or 0.0),)
    colors = None if raw.colors is None else raw.colors[weld.kept]
    merged = RawMesh(vertices=raw.vertices[weld.kept], faces=None, colors=colors, unit=raw.unit)
    return merged.noting(*raw.findings, *findings), after


def _shared_places(raw: RawMesh, faces: IntArray, exact: Weld) -> tuple[Finding, ...]:
    """Return a note if vertices lie on each other."""
    if exact.merged == 0:
        return ()
    soup = len(raw.vertices) == 3 * len(faces) == len(np.unique(faces))
    start = "No two triangles share a vertex" if soup else "Vertices share their place with others"
    message = (
        f"{start}: {exact.merged} of {len(raw.vertices)} vertices lie exactly on another one; "
        "they were kept apart."
    )
    remedy = (
        "If the surface should hang together there, read it with a welding tolerance of 0 mm "
        "('mirrorprep check --weld-mm 0'); mending welds by itself."
    )
    return (note("shared-places", message, remedy=remedy, measured=exact.merged),)


def _weld_finding(weld: Weld, exact: Weld, faces: IntArray, weld_mm: float) -> Finding:
    after = _repeats(weld.label[faces])
    thin = int(after.sum() - _repeats(exact.label[faces]).sum())
    if weld_mm and after.all():
        raise UsageError(
            f"A welding tolerance of {weld_mm:g} mm leaves none of the {len(faces)} triangles.",
            remedy="Give a tolerance well under the point spacing.",
        )
    message = (
        f"Welding within {weld_mm:g} mm joined {weld.merged} vertices, {exact.merged} of them at exactly the "
        f"same place; {thin} triangles lost their area."
    )
    return note("welded", message, measured=weld.merged)


def _repeats(faces: IntArray) -> NDArray[np.bool_]:
    a, b, c = faces.T
    return np.asarray((a == b) | (b == c) | (c == a))

"""Mending a scan into a certified solid, step by step, with an account of what changed."""

from collections.abc import Callable, Iterator
from functools import partial
from typing import Final

import numpy as np
from numpy.typing import NDArray

from mirrorprep.condition.draft import Draft, MendStep, Place, places
from mirrorprep.condition.holes import fill_holes
from mirrorprep.condition.mend_result import MendResult
from mirrorprep.condition.remake import remake
from mirrorprep.condition.settings import MendSettings
from mirrorprep.condition.spike_step import flatten_spikes
from mirrorprep.condition.topology_steps import drop_faulty_faces, drop_islands, orient, split, weld
from mirrorprep.condition.untangle import remove_self_intersections
from mirrorprep.errors import NotASolidError
from mirrorprep.geometry.mass_properties import signed_volume_mm3
from mirrorprep.geometry.topology import edge_table
from mirrorprep.progress import SILENT, Progress
from mirrorprep.solid.certify import certify, examine
from mirrorprep.solid.finding import Finding, Severity
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.solid import Solid

__all__ = ["MendResult", "MendSettings", "MendStep", "mend"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
_Step = Callable[[Draft], tuple[Draft, MendStep]]

_WELD_SHARE: Final = 1e-6
_SHARED: Final = 2
_ROUNDING: Final = 1e-12
_REMEDY: Final = "Scan again, mend by hand what is told here, or allow more change."
_DEFAULT: Final = MendSettings()


def mend(
    scan: ScanMesh | Solid, *, steps: MendSettings = _DEFAULT, progress: Progress = SILENT
) -> MendResult:
    """Return the scan made into a certified solid, if the allowed change suffices.

    Parameters
    ----------
    scan : ScanMesh or Solid
        The mesh as read.
    steps : MendSettings
        Which steps to take and how far they may go.
    progress : Progress
        Told about each step.

    Returns
    -------
    MendResult
        The mended mesh, its solid if it became one, and an account of every step. Where it became none, a
        finding of severity ``stop`` says why: ``mend-adds-too-much``, ``mend-drops-too-much``,
        ``mend-moves-too-far`` or ``not-mended``.

    Raises
    ------
    NotASolidError
        If the scan has no triangles, or a remade surface encloses nothing.

    Notes
    -----
    Outside the mended places no vertex moves: the rest of the scan stands in the result bit for bit. About
    17 s of processor time and 1.4 GiB for a damaged scan of a million triangles.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import sphere
    >>> ball = sphere(20.0).mesh
    >>> result = mend(ball.with_geometry(ball.vertices, ball.faces[5:]))
    >>> result.solid is not None, result.moved_share
    (True, 0.0)
    """
    mesh = scan.mesh if isinstance(scan, Solid) else scan
    if len(mesh.faces) == 0:
        raise NotASolidError(
            "The scan has 0 triangles; nothing can be mended.", remedy="Export it again as a mesh."
        )
    draft, record = Draft.of(mesh), []
    chosen = list(_chosen(mesh, steps))
    for number, (label, step) in enumerate(chosen):
        progress.step(label, 0.95 * number / len(chosen))
        draft, entry = step(draft)
        record.append(entry)
    if steps.remake_mm is not None and not _clean(draft, record):
        draft, entry = remake(draft, spacing_mm=steps.remake_mm, island_share=steps.island_share)
        record.append(entry)
    progress.step("certifying", 0.95)
    result = _result(mesh, draft, tuple(record), steps)
    progress.step("mended", 1.0)
    return result


def _chosen(mesh: ScanMesh, steps: MendSettings) -> Iterator[tuple[str, _Step]]:
    tolerance = _WELD_SHARE * mesh.diagonal_mm if steps.weld_mm is None else steps.weld_mm
    least, least_open = steps.island_share, steps.open_island_share
    islands = partial(drop_islands, least_share=least, least_open_share=least_open)
    parted = partial(split, least_share=least, least_open_share=least_open) if steps.drop_islands else split
    ladder: tuple[tuple[bool, str, _Step], ...] = (
        (steps.weld, "welding", partial(weld, tolerance_mm=tolerance)),
        (steps.drop_faulty_faces, "dropping faulty faces", drop_faulty_faces),
        (steps.drop_islands, "dropping islands", islands),
        (steps.orient, "orienting", orient),
        (steps.split, "splitting", parted),
        (
            steps.flatten_spikes,
            "flattening spikes",
            partial(flatten_spikes, slenderness=steps.spike_slenderness),
        ),
        (
            steps.fill_holes,
            "filling holes",
            partial(fill_holes, smooth_angle_deg=steps.smooth_angle_deg),
        ),
        (steps.remove_self_intersections, "removing self-intersections", remove_self_intersections),
    )
    return ((label, step) for wanted, label, step in ladder if wanted)


def _left(record: list[MendStep] | tuple[MendStep, ...]) -> int | None:
    """Return the self-intersections that the step against them left, 0 after remaking."""
    for step in reversed(record):
        if step.name == "remake":
            return 0
        if step.name == "remove-self-intersections":
            return int(step.counts["left"])
    return None


def _clean(draft: Draft, record: list[MendStep]) -> bool:
    mesh = ScanMesh(vertices=draft.vertices, faces=draft.faces)
    return len(draft.faces) > 0 and examine(mesh).solid and not _left(record)


def _result(scan: ScanMesh, draft: Draft, record: tuple[MendStep, ...], steps: MendSettings) -> MendResult:
    used = np.bincount(draft.faces.ravel(), minlength=len(draft.vertices)) > 0
    number = np.cumsum(used) - 1
    mesh = ScanMesh(vertices=draft.vertices[used], faces=number[draft.faces], origin=scan.origin)
    area, before = draft.areas_mm2(), float(Draft.of(scan).areas_mm2().sum())
    remade = any(step.name == "remake" for step in record)
    added = float(area[draft.source < 0].sum() / max(float(area.sum()), 1e-300))
    dropped = sum(step.counts.get("dropped_mm2", 0.0) for step in record) / max(before, 1e-300)
    in_use = np.flatnonzero(np.bincount(scan.faces.ravel(), minlength=len(scan.vertices)))
    moved = draft.moved_mm[in_use]
    moved = moved[moved > 0.0]
    farthest = float(moved.max(initial=0.0))
    refusal = _refusal(steps, added=0.0 if remade else added, dropped=dropped, moved_mm=farthest)
    solid, findings = (None, (refusal,)) if refusal else _certified(mesh, _left(record))
    return MendResult(
        mesh=mesh,
        solid=solid,
        made=draft.source < 0,
        steps=record,
        settings=steps,
        moved_share=len(moved) / len(in_use),
        max_displacement_mm=farthest,
        rms_displacement_mm=float(np.sqrt((moved**2).mean())) if len(moved) else 0.0,
        added_share=added,
        dropped_share=dropped,
        self_intersections=_left(record),
        volume_change_mm3=_volume_change(scan, solid),
        findings=findings,
    )


def _refusal(steps: MendSettings, *, added: float, dropped: float, moved_mm: float) -> Finding | None:
    for code, word, share, limit in (
        ("mend-adds-too-much", "made up", added, steps.most_added_share),
        ("mend-drops-too-much", "dropped", dropped, steps.most_dropped_share),
    ):
        if share > limit:
            message = f"{share:.1%} of the surface would be {word}; {limit:.0%} is allowed."
            return _stop(code, message, measured=share, limit=limit)
    farthest = steps.most_moved_mm
    if farthest is not None and moved_mm > farthest:
        message = f"A vertex would move by {moved_mm:.3g} mm; {farthest:g} mm is allowed."
        return _stop("mend-moves-too-far", message, measured=moved_mm, limit=farthest)
    return None


def _stop(
    code: str,
    message: str,
    *,
    measured: float | None = None,
    limit: float | None = None,
    where: tuple[Place, ...] = (),
) -> Finding:
    return Finding(
        code=code,
        severity=Severity.STOP,
        message=message,
        measured=measured,
        limit=limit,
        where=where,
        remedy=_REMEDY,
    )


def _certified(mesh: ScanMesh, left: int | None) -> tuple[Solid | None, tuple[Finding, ...]]:
    try:
        solid = certify(mesh)
    except NotASolidError as error:
        table = edge_table(mesh.faces)
        rims = mesh.vertices[table.edges[table.uses != _SHARED]].mean(axis=1)
        return None, (_stop("not-mended", error.message, where=places(rims)),)
    if not left:
        return solid, ()
    return solid, (
        Finding(
            code="self-intersections-left",
            severity=Severity.CAUTION,
            message=f"{left} pairs of triangles still meet where they should not.",
            measured=float(left),
            limit=0.0,
            remedy="Remake the surface at a stated spacing, or mend those places by hand.",
        ),
    )


def _volume_change(scan: ScanMesh, solid: Solid | None) -> float | None:
    if solid is None or not examine(scan).closed:
        return None
    before = abs(signed_volume_mm3(scan.vertices, scan.faces))
    change = solid.volume_mm3 - before
    return change if abs(change) > _ROUNDING * before else 0.0

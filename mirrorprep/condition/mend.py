"""Mending a scan into a certified solid, step by step, with an account of what changed."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from typing import Final

import numpy as np
from numpy.typing import NDArray

from mirrorprep.condition.draft import Draft, MendStep
from mirrorprep.condition.holes import fill_holes
from mirrorprep.condition.topology_steps import drop_faulty_faces, drop_islands, orient, split, weld
from mirrorprep.condition.untangle import remove_self_intersections
from mirrorprep.errors import NotASolidError, UsageError
from mirrorprep.geometry.mass_properties import signed_volume_mm3
from mirrorprep.progress import SILENT, Progress
from mirrorprep.solid.certify import certify, examine
from mirrorprep.solid.finding import Finding, Severity
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.solid import Solid

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
_Step = Callable[[Draft], tuple[Draft, MendStep]]

_WELD_SHARE: Final = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class MendSettings:
    """Which steps to take, and their limits.

    Attributes
    ----------
    weld, drop_faulty_faces, drop_islands, orient, split, fill_holes, remove_self_intersections : bool
        The steps, in this order.
    weld_mm : float or None
        Vertices on open edges within this distance are joined; None takes a millionth of the diagonal.
    island_share : float
        Bodies of less than this share of the largest body's area are dropped.
    smooth_angle_deg : float
        Holes whose plane the surface meets at less than this angle are filled with curvature continued, the
        others capped with the least area.
    most_added_share : float
        The result is refused when more than this share of its area was made up.
    most_dropped_share : float
        The result is refused when more than this share of the scan's area was dropped.

    Raises
    ------
    UsageError
        If a limit is negative, or a share above 1.
    """

    weld: bool = True
    drop_faulty_faces: bool = True
    drop_islands: bool = True
    orient: bool = True
    split: bool = True
    fill_holes: bool = True
    remove_self_intersections: bool = True
    weld_mm: float | None = None
    island_share: float = 0.005
    smooth_angle_deg: float = 60.0
    most_added_share: float = 0.5
    most_dropped_share: float = 0.25

    def __post_init__(self) -> None:
        for name in ("island_share", "most_added_share", "most_dropped_share"):
            value = getattr(self, name)
            if not 0.0 <= value <= 1.0:
                raise UsageError(f"{name} is {value:g}; it is a share.", remedy="Give 0 to 1.")
        if self.weld_mm is not None and not 0.0 <= self.weld_mm < np.inf:
            raise UsageError(f"weld_mm is {self.weld_mm:g}.", remedy="Give 0 mm or more.")


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class MendResult:
    """A mended scan and what was changed.

    Attributes
    ----------
    mesh : ScanMesh
        The mended mesh, as far as mending got.
    solid : Solid or None
        The certified solid; None when refused, with a finding of severity ``stop`` that says why.
    steps : tuple of MendStep
        In the order taken.
    settings : MendSettings
        What was asked for.
    moved_share : float
        Share of the scan's vertices in use that moved.
    max_displacement_mm, rms_displacement_mm : float
        Of the moved vertices.
    added_share, dropped_share : float
        Area made up, as a share of the result's; area dropped, as a share of the scan's.
    volume_change_mm3 : float or None
        Against the scan's enclosed volume; None when either is no solid.
    findings : tuple of Finding
        What remains to be said.
    """

    mesh: ScanMesh
    solid: Solid | None
    steps: tuple[MendStep, ...]
    settings: MendSettings
    moved_share: float
    max_displacement_mm: float
    rms_displacement_mm: float
    added_share: float
    dropped_share: float
    volume_change_mm3: float | None
    findings: tuple[Finding, ...]

    def as_dict(self) -> dict[str, object]:
        """Return plain data for JSON."""
        return {
            "solid": self.solid is not None,
            "triangles": len(self.mesh.faces),
            "vertices": len(self.mesh.vertices),
            "volume_mm3": None if self.solid is None else self.solid.volume_mm3,
            "steps": [step.as_dict() for step in self.steps],
            "moved_share": self.moved_share,
            "max_displacement_mm": self.max_displacement_mm,
            "rms_displacement_mm": self.rms_displacement_mm,
            "added_share": self.added_share,
            "dropped_share": self.dropped_share,
            "volume_change_mm3": self.volume_change_mm3,
            "findings": [finding.as_dict() for finding in self.findings],
        }


def mend(
    scan: ScanMesh | Solid, *, steps: MendSettings = MendSettings(), progress: Progress = SILENT
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
        The mended mesh, its solid if it became one, and an account of every step.

    Raises
    ------
    NotASolidError
        If the scan has no triangles.

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
    draft = Draft.of(mesh)
    record = []
    chosen = list(_chosen(mesh, steps))
    for number, (label, step) in enumerate(chosen):
        progress.step(label, number / len(chosen))
        draft, entry = step(draft)
        record.append(entry)
    progress.step("certifying", 0.95)
    result = _result(mesh, draft, tuple(record), steps)
    progress.step("mended", 1.0)
    return result


def _chosen(mesh: ScanMesh, steps: MendSettings) -> Iterator[tuple[str, _Step]]:
    tolerance = _WELD_SHARE * mesh.diagonal_mm if steps.weld_mm is None else steps.weld_mm
    ladder: tuple[tuple[bool, str, _Step], ...] = (
        (steps.weld, "welding", partial(weld, tolerance_mm=tolerance)),
        (steps.drop_faulty_faces, "dropping faulty faces", drop_faulty_faces),
        (steps.drop_islands, "dropping islands", partial(drop_islands, least_share=steps.island_share)),
        (steps.orient, "orienting", orient),
        (steps.split, "splitting", split),
        (steps.fill_holes, "filling holes", partial(fill_holes, smooth_angle_deg=steps.smooth_angle_deg)),
        (steps.remove_self_intersections, "removing self-intersections", remove_self_intersections),
    )
    return ((label, step) for wanted, label, step in ladder if wanted)


def _result(scan: ScanMesh, draft: Draft, record: tuple[MendStep, ...], steps: MendSettings) -> MendResult:
    used, faces = np.unique(draft.faces, return_inverse=True)
    mesh = ScanMesh(vertices=draft.vertices[used], faces=faces.reshape(-1, 3), origin=scan.origin)
    area = draft.areas_mm2()
    added = float(area[draft.source < 0].sum() / max(float(area.sum()), 1e-300))
    before = max(float(Draft.of(scan).areas_mm2().sum()), 1e-300)
    dropped = sum(step.counts.get("dropped_mm2", 0.0) for step in record) / before
    in_use = np.unique(scan.faces)
    moved = draft.moved_mm[in_use]
    moved = moved[moved > 0.0]
    solid, findings = _certified(mesh, steps, added=added, dropped=dropped)
    return MendResult(
        mesh=mesh,
        solid=solid,
        steps=record,
        settings=steps,
        moved_share=len(moved) / len(in_use),
        max_displacement_mm=float(moved.max(initial=0.0)),
        rms_displacement_mm=float(np.sqrt((moved**2).mean())) if len(moved) else 0.0,
        added_share=added,
        dropped_share=dropped,
        volume_change_mm3=_volume_change(scan, solid),
        findings=findings,
    )


def _certified(
    mesh: ScanMesh, steps: MendSettings, *, added: float, dropped: float
) -> tuple[Solid | None, tuple[Finding, ...]]:
    for code, word, share, limit in (
        ("mend-adds-too-much", "made up", added, steps.most_added_share),
        ("mend-drops-too-much", "dropped", dropped, steps.most_dropped_share),
    ):
        if share > limit:
            message = f"{share:.1%} of the surface would be {word}; {limit:.0%} is allowed."
            return None, (_stop(code, message, measured=share, limit=limit),)
    try:
        return certify(mesh), ()
    except NotASolidError as error:
        return None, (_stop("not-mended", error.message),)


def _stop(code: str, message: str, *, measured: float | None = None, limit: float | None = None) -> Finding:
    return Finding(
        code=code,
        severity=Severity.STOP,
        message=message,
        measured=measured,
        limit=limit,
        remedy="Scan again, close the surface by hand, or allow more change.",
    )


def _volume_change(scan: ScanMesh, solid: Solid | None) -> float | None:
    if solid is None or not examine(scan).closed:
        return None
    return solid.volume_mm3 - abs(signed_volume_mm3(scan.vertices, scan.faces))

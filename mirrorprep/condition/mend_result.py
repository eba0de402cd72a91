"""MendResult: a mended scan and the account of what was changed."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mirrorprep.condition.draft import MendStep
from mirrorprep.condition.settings import MendSettings
from mirrorprep.solid.finding import Finding, Severity
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.solid import Solid


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class MendResult:
    """A mended scan and what was changed.

    Attributes
    ----------
    mesh : ScanMesh
        The mended mesh, as far as mending got.
    solid : Solid or None
        The certified solid; None when refused, with a finding of severity ``stop`` that says why.
    made : (m,) bool
        The faces of `mesh` that mending made up, for pictures.
    steps : tuple of MendStep
        In the order taken.
    settings : MendSettings
        What was asked for.
    moved_share : float
        Share of the scan's vertices in use that moved.
    max_displacement_mm, rms_displacement_mm : float
        Of the moved vertices; after remaking, the distances of the scan's vertices from the new surface.
    added_share, dropped_share : float
        Area made up, as a share of the result's; area of dropped islands, as a share of the scan's.
    self_intersections : int or None
        Pairs that mending left; None when that step was not taken.
    volume_change_mm3 : float or None
        Against the scan's enclosed volume; None when either is not closed.
    findings : tuple of Finding
        What remains to be said.
    """

    mesh: ScanMesh
    solid: Solid | None
    made: NDArray[np.bool_]
    steps: tuple[MendStep, ...]
    settings: MendSettings
    moved_share: float
    max_displacement_mm: float
    rms_displacement_mm: float
    added_share: float
    dropped_share: float
    self_intersections: int | None
    volume_change_mm3: float | None
    findings: tuple[Finding, ...]

    @property
    def volume_mm3(self) -> float | None:
        """Of the solid; None when there is none."""
        return None if self.solid is None else self.solid.volume_mm3

    @property
    def notes(self) -> tuple[Finding, ...]:
        """The steps that changed something as findings with their places, for pictures."""
        return tuple(
            Finding(code=step.name, severity=Severity.NOTE, message=step.summary, where=step.where)
            for step in self.steps
            if step.changed
        )

    def as_dict(self) -> dict[str, object]:
        """Return plain data for JSON."""
        shares = ("moved_share", "max_displacement_mm", "rms_displacement_mm", "added_share", "dropped_share")
        return {
            "solid": self.solid is not None,
            "triangles": len(self.mesh.faces),
            "vertices": len(self.mesh.vertices),
            "volume_mm3": self.volume_mm3,
            "self_intersections": self.self_intersections,
            "steps": [step.as_dict() for step in self.steps],
            **{name: getattr(self, name) for name in shares},
            "volume_change_mm3": self.volume_change_mm3,
            "findings": [finding.as_dict() for finding in self.findings],
        }

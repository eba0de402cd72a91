"""Shapes as files can hold them: closed even after coordinates are rounded to 32 bits."""

from typing import Final

from mirrorprep.solid.finding import Finding, Severity
from mirrorprep.solid.rounding import welded_faults
from mirrorprep.solid.solid import Solid

_REMEDY: Final = "Use the 3MF file, which keeps more digits, or mend the scan first ('mirrorprep mend')."


def rounding_findings(name: str, solid: Solid) -> tuple[Finding, ...]:
    """Return a caution when a reader of the STL file would find the shape open."""
    edges, faces = welded_faults(solid.mesh)
    if edges == faces == 0:
        return ()
    message = f"{name}.stl has {edges} bad edges and {faces} flat triangles once rounded to 32 bits."
    found = Finding(
        code="stl-not-closed",
        severity=Severity.CAUTION,
        message=message,
        measured=float(edges + faces),
        limit=0.0,
        remedy=_REMEDY,
    )
    return (found,)

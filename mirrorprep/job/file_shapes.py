"""Shapes as files can hold them: closed even after coordinates are rounded to 32 bits."""

from typing import Final

from mirrorprep.geometry.slivers import without_slivers
from mirrorprep.mould.proof import welded_faults
from mirrorprep.solid.certify import certify
from mirrorprep.solid.finding import Finding, Severity
from mirrorprep.solid.solid import Solid

_REMEDY: Final = "Use the 3MF file, which keeps more digits, or mend the scan first ('mirrorprep mend')."


def fit_for_files(solid: Solid) -> Solid:
    """Return a solid whose vertices stay apart when an STL file rounds them; as it is where they do already.

    Parameters
    ----------
    solid : Solid
        What is to be written.

    Returns
    -------
    Solid
        Edges and heights that 32-bit numbers cannot hold are gone, and vertices that would merge are drawn
        apart by some units in the last place, 1e-5 mm at 100 mm.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import box
    >>> cube = box([1, 2, 3])
    >>> fit_for_files(cube) is cube
    True
    """
    mesh = solid.mesh
    if welded_faults(mesh) == (0, 0):
        return solid
    clean = without_slivers(mesh.vertices, mesh.faces)
    return certify(mesh.with_geometry(clean.vertices, clean.faces))


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

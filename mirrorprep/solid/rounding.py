"""Solids as files of 32-bit numbers hold them."""

from dataclasses import dataclass

import numpy as np

from mirrorprep.geometry.slivers import without_slivers
from mirrorprep.geometry.topology import edge_table
from mirrorprep.geometry.weld import weld_exact
from mirrorprep.solid.certify import certify
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.solid import Solid


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class FitSolid:
    """A solid fit for files, and what was done and found.

    Attributes
    ----------
    solid : Solid
        The same as given where that is fit already.
    moved : int
        Vertices that were drawn apart.
    crossing : int
        Pairs of triangles that meet beside their common corners and could not be parted.
    """

    solid: Solid
    moved: int
    crossing: int


def welded_faults(mesh: ScanMesh) -> tuple[int, int]:
    """Return bad edges and degenerate faces after rounding to 32 bits and merging equal positions.

    That is what a reader of the STL file will find.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import box
    >>> welded_faults(box([1, 2, 3]).mesh)
    (0, 0)
    """
    rounded = mesh.vertices.astype(np.float32)
    faces = weld_exact(rounded).label[mesh.faces]
    a, b, c = np.moveaxis(rounded.astype(np.float64)[mesh.faces], 1, 0)
    flat = ~np.cross(b - a, c - a).any(axis=1)
    table = edge_table(faces)
    bad = (table.forward != 1) | (table.backward != 1)
    return int(bad.sum()), int(flat.sum())


def fit_for_files(solid: Solid) -> FitSolid:
    """Return a solid that stays closed and does not begin to cross itself when an STL file rounds it.

    Parameters
    ----------
    solid : Solid
        What is to be written.

    Returns
    -------
    FitSolid
        Edges and heights that 32-bit numbers cannot hold are gone, and vertices that would merge, or whose
        triangles would cross, are drawn apart by some units in the last place, 1e-5 mm at 100 mm. The volume
        stays.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import box
    >>> cube = box([1, 2, 3])
    >>> fit_for_files(cube).solid is cube
    True
    """
    mesh = solid.mesh
    clean = without_slivers(mesh.vertices, mesh.faces)
    if clean.collapsed_edges == clean.flipped_edges == clean.moved_vertices == 0:
        return FitSolid(solid=solid, moved=0, crossing=clean.crossing)
    fit = certify(mesh.with_geometry(clean.vertices, clean.faces))
    return FitSolid(solid=fit, moved=clean.moved_vertices, crossing=clean.crossing)

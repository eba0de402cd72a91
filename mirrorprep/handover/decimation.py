"""Lighter copies of meshes for the view on a page."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from mirrorprep.handover.bodies import thinned
from mirrorprep.solid.mesh import ScanMesh

_QUADRIC_LIMIT: Final = 100_000


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class ViewCopy:
    """A lighter copy: its vertices and faces, and the nearest old vertex of each new one."""

    vertices: NDArray[np.float64]
    faces: NDArray[np.int64]
    kept: NDArray[np.int64]


def view_copies(meshes: Sequence[ScanMesh], *, most: int) -> list[ViewCopy]:
    """Return copies with at most `most` triangles in all.

    Heavy meshes are thinned more than light ones, in proportion to the roots of their numbers; those whose
    share would suffice keep all their triangles.
    """
    own = [len(mesh.faces) for mesh in meshes]
    return [decimated(mesh, most=share) for mesh, share in zip(meshes, _shares(own, most), strict=True)]


def _shares(own: Sequence[int], most: int) -> list[int]:
    shares = list(own)
    left, heavy = float(most), sorted(range(len(own)), key=lambda index: own[index])
    total = sum(math.sqrt(count) for count in own)
    while heavy and left * math.sqrt(own[heavy[0]]) >= own[heavy[0]] * total:
        whole = own[heavy.pop(0)]
        left, total = left - whole, total - math.sqrt(whole)
    for index in heavy:
        shares[index] = max(int(left * math.sqrt(own[index]) / total), 4)
    return shares


def decimated(mesh: ScanMesh, *, most: int) -> ViewCopy:
    """Return a copy of at most `most` triangles.

    Notes
    -----
    Quadric error decimation (Garland and Heckbert, SIGGRAPH 1997, doi:10.1145/258734.258849) by VTK; a
    mesh beyond 100 000 triangles is thinned on a grid first, for speed.
    """
    if len(mesh.faces) <= most:
        everything = np.arange(len(mesh.vertices))
        return ViewCopy(vertices=mesh.vertices, faces=mesh.faces, kept=everything)
    start = thinned(mesh, most=max(_QUADRIC_LIMIT, most))[0]
    vertices, faces = _quadric(start, most)
    if len(faces) > most:
        small = thinned(ScanMesh(vertices=vertices, faces=faces), most=most)[0]
        vertices, faces = np.array(small.vertices), np.array(small.faces)
    kept = cKDTree(mesh.vertices).query(vertices, workers=1)[1]
    return ViewCopy(vertices=vertices, faces=faces, kept=np.asarray(kept, dtype=np.int64))


def _quadric(mesh: ScanMesh, most: int) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    from vtkmodules.util.numpy_support import numpy_to_vtk, numpy_to_vtkIdTypeArray, vtk_to_numpy
    from vtkmodules.vtkCommonCore import vtkPoints
    from vtkmodules.vtkCommonDataModel import vtkCellArray, vtkPolyData
    from vtkmodules.vtkFiltersCore import vtkQuadricDecimation

    data, points, cells = vtkPolyData(), vtkPoints(), vtkCellArray()
    points.SetData(numpy_to_vtk(np.array(mesh.vertices), deep=True))
    cells.SetData(3, numpy_to_vtkIdTypeArray(np.array(mesh.faces).ravel(), deep=True))
    data.SetPoints(points)
    data.SetPolys(cells)
    work = vtkQuadricDecimation()
    work.SetInputData(data)
    work.SetTargetReduction(1 - 0.995 * most / len(mesh.faces))
    work.VolumePreservationOn()
    work.Update()
    result = work.GetOutput()
    vertices = vtk_to_numpy(result.GetPoints().GetData()).astype(np.float64)
    faces = vtk_to_numpy(result.GetPolys().GetConnectivityArray()).reshape(-1, 3).astype(np.int64)
    return vertices, faces

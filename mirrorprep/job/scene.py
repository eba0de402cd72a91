"""From the records of a job to the shapes that the reader of its traveller can turn and open."""

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import KDTree

from mirrorprep.handover.palette import DONOR, HALF_A, HALF_B, MIRRORED, SCAN
from mirrorprep.handover.view import Scene, SceneBody
from mirrorprep.job.pictures import plane_of
from mirrorprep.job.stages import Work
from mirrorprep.solid.mesh import ScanMesh


def scene_of(work: Work) -> Scene:
    """Return the shapes of a job as far as its stages went."""
    plane = plane_of(work.records["symmetry"].figures) if "symmetry" in work.records else None
    scan = SceneBody(
        name="scan",
        mesh=work.mesh("intake", "scan"),
        color=SCAN,
        maps=_scan_maps(work),
        shown="mould" not in work.records,
    )
    donor = SceneBody(name="donor part", mesh=work.donor, color=DONOR, shown=False)
    if "mould" not in work.records:
        part = SceneBody(name="mirrored part", mesh=work.mirrored, color=MIRRORED)
        return Scene(bodies=[part, scan, donor], plane=plane)
    mould = work.records["mould"]
    cavity = mould.mesh("cavity")
    hooks = {"undercut depth": _over_vertices(cavity, mould.arrays["undercut_mm"])}
    part = SceneBody(name="part", mesh=cavity, color=MIRRORED, maps=hooks)
    halves = [
        SceneBody(name="half_a", mesh=mould.solid("half_a"), color=HALF_A, opens=1),
        SceneBody(name="half_b", mesh=mould.solid("half_b"), color=HALF_B, opens=-1),
    ]
    x, y, z = mould.figures["pull_direction"]
    u, v, w = mould.figures["pour_up"]
    return Scene(bodies=[part, *halves, scan, donor], plane=plane, pull_direction=(x, y, z), up=(u, v, w))


def _scan_maps(work: Work) -> dict[str, NDArray[np.float64]]:
    """Return what colours the scan: how its sides differ, and how far the mirrored skin is off."""
    maps: dict[str, NDArray[np.float64]] = {}
    if "symmetry" in work.records and "asymmetry_mm" in work.records["symmetry"].arrays:
        maps["left-right difference"] = work.records["symmetry"].arrays["asymmetry_mm"]
    if "seating" in work.records:
        values = work.records["seating"].arrays["healthy_mm"]
        mended, shown = work.mesh("condition", "scan").vertices, work.mesh("intake", "scan").vertices
        if not np.array_equal(mended, shown):
            values = values[KDTree(mended).query(shown, workers=1)[1]]
        maps["deviation around the part"] = values
    return maps


def _over_vertices(mesh: ScanMesh, of_faces: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return for each vertex the largest value of the faces around it."""
    values = np.zeros(len(mesh.vertices))
    np.maximum.at(values, mesh.faces.ravel(), np.repeat(of_faces, 3))
    return values

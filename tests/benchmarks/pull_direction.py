"""Pull direction: the search beside measuring every direction on the part itself.

Run by hand: ``python tests/benchmarks/pull_direction.py [--shared] [--triangles 400000]``. Bodies are scaled
to 100 mm and their triangles quartered while no more than 100 000, or as many as asked, come of it: the
numbers are in the table. With ``--even`` long edges are divided until a body has the number of triangles
asked for within 1 %. Times are processor seconds, so that a busy machine matters little. The baseline
measures all 512 directions on the whole part with 256 columns along its longer side, by the kernel that is
fastest on so many triangles (give fewer ``--directions`` to scale its time from a part of them; its best
figures are then of that part). The facet column is the share of the area whose normals turn away from the
pull of their side: the obvious measure of undercut, beside what really is trapped.
"""

import argparse
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from mirrorprep.condition.mend import mend
from mirrorprep.errors import MirrorPrepError
from mirrorprep.intake.read import read_scan
from mirrorprep.mould.pull_direction import hemisphere, search_pull_direction
from mirrorprep.mould.undercut import trapped_volumes
from mirrorprep.solid.certify import certify
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.solid import Solid

DATA = Path(__file__).resolve().parents[3] / "shared" / "data"
SIZE_MM = 100.0
TRIANGLES = 100_000


def bodies(*, shared: bool) -> Iterator[tuple[str, Solid]]:
    """Yield the demo shapes, and the shared meshes if asked and there."""
    from demo_shapes import animal, ear, plain

    yield "demo ear", ear().solid
    yield "demo fox", animal().solid
    yield "demo torus", plain("torus").solid
    paths = sorted((DATA / "organic").glob("*")) + sorted((DATA / "scans").glob("os_*")) if shared else []
    for path in paths:
        try:
            solid = mend(read_scan(path, units="mm")).solid
        except MirrorPrepError as error:
            print(f"{path.stem}: skipped, {error}")
            continue
        if solid is not None:
            yield path.stem, solid


def prepared(solid: Solid, triangles: int) -> Solid:
    """Return the body at the benchmark's size and number of triangles, by midpoint subdivision."""
    from trimesh.remesh import subdivide

    vertices = solid.mesh.vertices * (SIZE_MM / float(solid.mesh.size_mm.max()))
    faces = solid.mesh.faces
    while 2 * len(faces) <= triangles:
        vertices, faces = subdivide(np.array(vertices), np.array(faces))
    return certify(ScanMesh(vertices=np.asarray(vertices), faces=np.asarray(faces)))


def even(solid: Solid, triangles: int) -> Solid:
    """Return the body at the benchmark's size, its long edges divided until it has so many triangles."""
    from mould import refined

    scale = SIZE_MM / float(solid.mesh.size_mm.max())
    return refined(solid.transformed(np.diag([scale, scale, scale, 1.0])), triangles)


def turned_away(solid: Solid, direction: np.ndarray, offset_mm: float) -> float:
    """Return the share of the area whose normals turn away from the pull of their side of the plane."""
    corners = solid.mesh.triangles
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    side = np.sign(corners.mean(axis=1) @ direction - offset_mm)
    area = np.linalg.norm(normal, axis=1)
    return float(area[side * (normal @ direction) < 0].sum() / area.sum())


def measure(name: str, solid: Solid, directions: int) -> None:
    """Print one line."""
    volume = solid.volume_mm3
    taken, walls = [], []
    for _ in range(3):
        start, wall = time.process_time(), time.perf_counter()
        found = search_pull_direction(solid)
        taken.append(time.process_time() - start)
        walls.append(time.perf_counter() - wall)
    start = time.process_time()
    every = [trapped_volumes(solid, axis) for axis in hemisphere(directions)]
    brute = (time.process_time() - start) * 512 / directions
    best_bound = min(one.bound_mm3 for one in every) / volume
    best_plane = min(one.best_trapped_mm3 for one in every) / volume
    pull = found.for_contour
    facets = turned_away(solid, np.array(pull.direction), pull.plane_offset_mm)
    print(
        f"{name:26s} {len(solid.mesh.faces):8d} {min(taken):6.2f} {min(walls):6.2f} "
        f"{brute / min(taken):6.1f} × "
        f"{pull.bound_mm3 / volume:10.2e} {best_bound:10.2e} "
        f"{found.for_plane.plane_trapped_mm3 / volume:9.4f} {best_plane:9.4f} "
        f"{np.median(found.plane_trapped_mm3) / volume:8.4f} {100 * found.coarse_error:7.2f} "
        f"{100 * facets:7.1f}",
        flush=True,
    )


def main() -> None:
    """Measure all bodies."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--shared", action="store_true", help="the shared meshes too")
    parser.add_argument("--directions", type=int, default=512, help="directions of the baseline")
    parser.add_argument("--triangles", type=int, default=TRIANGLES, help="triangles aimed at")
    parser.add_argument("--even", action="store_true", help="divide long edges rather than all triangles")
    asked = parser.parse_args()
    prepare = even if asked.even else prepared
    print(
        "body                       triangles  CPU s wall s brute/ours   W ours    W brute "
        "plane our plane brt   median coarse% facets%"
    )
    for name, solid in bodies(shared=asked.shared):
        measure(name, prepare(solid, asked.triangles), asked.directions)


if __name__ == "__main__":
    main()

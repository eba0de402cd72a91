"""Filling: trapped air, pour direction and pour plan on real shapes, beside the obvious ways to do it.

Run by hand: ``python tests/benchmarks/filling.py``. Shapes are refined to 50 000 to 200 000 triangles and
scaled to 80 mm. Times are processor seconds, so that a busy machine does not matter. Two baselines
run beside ours:

* sweep: the cavity as voxels, one connected-component labelling per level (scipy.ndimage), same spacing;
* summits: counting mesh vertices that are higher than all their neighbours.
"""

import argparse
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
from scipy import ndimage

from mirrorprep.condition.mend import mend
from mirrorprep.errors import MirrorPrepError
from mirrorprep.geometry.air_pockets import trapped_air
from mirrorprep.geometry.cavity_columns import CavityColumns, cavity_columns
from mirrorprep.geometry.pour_direction import best_pour_direction, directions_in_plane
from mirrorprep.geometry.vent_places import place_vents
from mirrorprep.intake.read import read_scan
from mirrorprep.pour.plan import plan_pour
from mirrorprep.pour.request import PourRequest
from mirrorprep.solid.certify import certify, examine
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.solid import Solid

DATA = Path(__file__).resolve().parents[3] / "shared" / "data"
SIZE_MM = 80.0
TRIANGLES = 100_000
SWEEP_ACROSS = 96
HEADINGS = (
    "shape",
    "triangles",
    "air, s",
    "72 angles, s",
    "plan, s",
    "best, mm³",
    "worst, mm³",
    "vents at worst",
    "largest left, mm³",
    "sweep slower, ×",
    "ours − sweep, % of volume",
    "summits / pockets",
)


def shapes() -> Iterator[tuple[str, Solid]]:
    """Yield the demo shapes and the shared meshes that are or become solid."""
    yield from demo_solids()
    for folder in ("organic", "scans"):
        for path in sorted((DATA / folder).glob("*")):
            try:
                mesh = read_scan(path, units="mm")
                solid = certify(mesh) if examine(mesh).solid else mend(mesh).solid
            except MirrorPrepError as error:
                print(f"{path.stem:26s} skipped: {error}")
                continue
            if solid is None:
                print(f"{path.stem:26s} skipped: no solid")
            else:
                yield path.stem, solid


def demo_solids() -> Iterator[tuple[str, Solid]]:
    """Yield the demo shapes."""
    from demo_shapes import PLAIN_NAMES, animal, ear, phantom_head, plain

    yield "demo ear", ear().solid
    yield "demo head", certify(phantom_head().scan)
    yield "demo fox", animal().solid
    for name in PLAIN_NAMES:
        yield f"demo {name}", plain(name).solid


def refined(solid: Solid) -> Solid:
    """Return the solid at the benchmark's size and number of triangles, by midpoint subdivision."""
    from trimesh.remesh import subdivide

    mesh = solid.mesh
    vertices = np.array(mesh.vertices) * (SIZE_MM / float(np.ptp(mesh.vertices, axis=0).max()))
    faces = np.array(mesh.faces)
    while 2 * len(faces) < TRIANGLES:
        vertices, faces = subdivide(vertices, faces)
    return certify(ScanMesh(vertices=vertices, faces=faces))


def best_of(action: Callable[[], object], times: int) -> tuple[float, object]:
    """Return the shortest time and the last result."""
    taken, result = [], None
    for _ in range(times):
        start = time.process_time()
        result = action()
        taken.append(time.process_time() - start)
    return min(taken), result


def sweep(columns: CavityColumns) -> float:
    """Return the trapped volume by labelling the voxels above every level."""
    spacing = columns.spacing_mm
    low = columns.bottom_mm.min()
    layers = int(np.ceil((columns.top_mm.max() - low) / spacing)) + 1
    rows = int(columns.column.max()) // columns.width + 2
    inside = np.zeros((rows, columns.width, layers), dtype=bool)
    i, j = columns.column // columns.width, columns.column % columns.width
    start = np.round((columns.bottom_mm - low) / spacing).astype(int)
    stop = np.round((columns.top_mm - low) / spacing).astype(int)
    for k in range(len(start)):
        inside[i[k], j[k], start[k] : stop[k]] = True
    everything = ndimage.generate_binary_structure(3, 2)
    spout = np.unravel_index(np.argmax(np.where(inside, np.arange(layers), -1)), inside.shape)
    kept = 0
    for level in range(spout[2] + 1):
        label, _ = ndimage.label(inside[:, :, level:], structure=everything)
        open_air = label[:, :, 0] == label[spout[0], spout[1], spout[2] - level]
        kept += int((inside[:, :, level] & ~open_air).sum())
    return kept * spacing**3


def summits(solid: Solid, up: np.ndarray) -> int:
    """Return the number of vertices higher than all their neighbours."""
    height, faces = solid.mesh.vertices @ up, solid.mesh.faces
    is_top = np.ones(len(height), dtype=bool)
    for a, b in ((0, 1), (1, 2), (2, 0)):
        one, two = faces[:, a], faces[:, b]
        is_top[one[height[one] <= height[two]]] = False
        is_top[two[height[two] <= height[one]]] = False
    return int(is_top.sum())


def measure(name: str, solid: Solid, times: int) -> None:
    """Print one line."""
    solid = refined(solid)
    v, f = solid.mesh.vertices, solid.mesh.faces
    search_s, found = best_of(
        lambda: best_pour_direction(v, f, candidates=directions_in_plane((0, 0, 1))), times
    )
    up = np.array(found.best.up)
    worst = np.array(found.ranked[-1].up)
    air_s, air = best_of(lambda: trapped_air(v, f, up=worst), times)
    places = place_vents(v, f, up=worst)
    left = max((p.volume_mm3 for p in places.vented.unvented), default=0.0)
    plan_s, plan = best_of(lambda: plan_pour(PourRequest(cavity=solid, pull_direction=(0, 0, 1))), times)
    spacing = SIZE_MM / SWEEP_ACROSS
    columns = cavity_columns(v, f, up=worst, spacing_mm=spacing)
    same_s, same = best_of(lambda: trapped_air(v, f, up=worst, spacing_mm=spacing), times)
    sweep_s, swept = best_of(lambda: sweep(columns), 1)
    best = trapped_air(v, f, up=up)
    largest = max((p.volume_mm3 for p in best.pockets), default=0.0)
    cells = (
        name,
        f"{len(f) / 1000:.0f}k",
        f"{air_s:.2f}",
        f"{search_s:.2f}",
        f"{plan_s:.2f}",
        f"{best.trapped_mm3:.0f}",
        f"{air.trapped_mm3:.0f}",
        f"{len(places.vents_mm)}",
        f"{max(left, plan.filling.left_mm3):.1f}",
        f"{sweep_s / same_s:.0f}",
        f"{100 * (same.trapped_mm3 - swept) / columns.volume_mm3:+.2f}",
        f"{summits(solid, worst)} / {len(air.unvented)}",
    )
    print("| " + " | ".join(cells) + " |", flush=True)
    if largest > 5.0 and not plan.filling.advised_vents_mm:
        print(f"  {name}: a pocket of {largest:.1f} mm³ has no advised vent")


def main() -> None:
    """Measure all shapes."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--times", type=int, default=3, help="repetitions; the shortest counts")
    parser.add_argument("--only", default="", help="measure the shapes whose name holds this")
    options = parser.parse_args()
    print("| " + " | ".join(HEADINGS) + " |")
    print("|---" * len(HEADINGS) + "|")
    for name, solid in shapes():
        if options.only in name:
            measure(name, solid, options.times)


if __name__ == "__main__":
    main()

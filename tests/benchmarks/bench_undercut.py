"""Time the undercut that follows a pull direction turned by hand, at several sizes, on one core.

Run by hand: ``OMP_NUM_THREADS=1 python tests/benchmarks/bench_undercut.py``. The part is an invented
auricle with its plate, refined until there are enough. CPU time, least and median of a round of
directions; the baseline beside it is `trapped_volumes`, the mould room's own measure of one direction, which
makes no map. The limit of the bench is 0.3 s for 100 000 triangles.
"""

import statistics
import time
from collections.abc import Callable
from functools import partial

import numpy as np

import demo_shapes
from mirrorprep.bench.undercut import UndercutFollower
from mirrorprep.mould.undercut import trapped_volumes
from mirrorprep.solid.certify import certify
from mirrorprep.solid.solid import Solid

SIZES = (25_000, 100_000, 400_000, 1_000_000)
DIRECTIONS = 12


def part_of(least: int) -> Solid:
    """Return the invented auricle with about so many triangles."""
    part = demo_shapes.ear().solid
    return part if len(part.mesh.faces) >= least else certify(demo_shapes.refined(part.mesh, least))


def seconds(work: Callable[[np.ndarray], object], directions: np.ndarray) -> list[float]:
    """Return the CPU time of each direction."""
    taken = []
    for direction in directions:
        began = time.process_time()
        work(direction)
        taken.append(time.process_time() - began)
    return taken


def main() -> None:
    """Print one line for each size."""
    directions = np.random.default_rng(0).normal(size=(DIRECTIONS, 3))
    print("triangles  prepare s  least s  median s  largest s  against the volume alone")
    for size in SIZES:
        part = part_of(size)
        began = time.process_time()
        follower = UndercutFollower(part.mesh.vertices, part.mesh.faces)
        prepared = time.process_time() - began
        quick = seconds(follower.along, directions)
        slow = seconds(partial(trapped_volumes, part), directions)
        ratio = statistics.median(quick) / statistics.median(slow)
        print(
            f"{len(part.mesh.faces):9d}  {prepared:9.3f}  {min(quick):7.3f}  {statistics.median(quick):8.3f}"
            f"  {max(quick):9.3f}  {ratio:.2f}"
        )


if __name__ == "__main__":
    main()

"""Parting surface: what it traps and how it opens, beside the obvious script.

Run by hand: ``python tests/benchmarks/parting.py [--shared]``. Bodies are those of ``pull_direction.py``. The
obvious script takes the bounding block less the part and splits it at the middle by a plane, along the
direction in which the part is shortest. Opening: the largest volume that a half shares with the part
while it moves off along its pull, by booleans of the solid kernel, as a share of the part's volume; the
sum of both halves. Times are processor seconds.
"""

import argparse
import importlib.util
import time
from pathlib import Path
from types import ModuleType

import numpy as np

from mirrorprep.mould.parting import PartingSurface, find_parting
from mirrorprep.solid.primitives import box
from mirrorprep.solid.solid import Solid

SHIFTS_MM = (0.02, 0.1, 0.5, 1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0)


def beside() -> ModuleType:
    """Return the benchmark of the pull direction, for its bodies."""
    path = Path(__file__).with_name("pull_direction.py")
    spec = importlib.util.spec_from_file_location("pull_direction_benchmark", path)
    if spec is None or spec.loader is None:
        raise FileNotFoundError(path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def opening(part: Solid, half_a: Solid, half_b: Solid, pull: np.ndarray) -> float:
    """Return the largest shared volume of both halves, as a share of the part's."""
    held = 0.0
    for half, way in ((half_a, pull), (half_b, -pull)):
        held += max((half.translated(way * shift) & part).volume_mm3 for shift in SHIFTS_MM)
    return held / part.volume_mm3


def split(part: Solid, surface: PartingSurface) -> tuple[Solid, Solid, Solid]:
    """Return the part in the pull frame and both halves of a block around it."""
    turn = np.eye(4)
    turn[:3, :3] = surface.frame.T
    body = part.transformed(turn)
    low, high = body.bounds_mm + np.array([[-10.0], [10.0]])
    low[2] = min(low[2], surface.field.height_mm.min() - 2.0)
    high[2] = max(high[2], surface.field.height_mm.max() + 2.0)
    block = box(high - low, center_mm=(low + high) / 2.0) - body
    half_b, half_a = block.split(surface.solid_below(low[:2] - 1.0, high[:2] + 1.0, low[2] - 1.0))
    return body, half_a, half_b


def obvious(part: Solid) -> float:
    """Return the opening of the bounding block split at its middle, along its shortest side."""
    low, high = part.bounds_mm
    axis = np.eye(3)[int(np.argmin(high - low))]
    block = box(high - low + 20.0, center_mm=(low + high) / 2.0) - part
    half_a, half_b = block.split_by_plane(axis, float(axis @ (low + high)) / 2.0)
    return opening(part, half_a, half_b, axis)


def measure(name: str, part: Solid) -> None:
    """Print one line per kind of parting."""
    naive = obvious(part)
    for kind in ("plane", "contour"):
        start = time.process_time()
        pull = find_parting(part, kind=kind, margin_mm=15.0).pull_direction
        whole = time.process_time() - start
        taken = []
        for _ in range(2):
            start = time.process_time()
            surface = find_parting(part, pull_direction=pull, kind=kind, margin_mm=15.0)
            taken.append(time.process_time() - start)
        held = opening(*split(part, surface), np.array([0.0, 0.0, 1.0]))
        volume = part.volume_mm3
        gain = f"{naive / held:9.1f}" if held > 1e-9 * naive else "     open"
        print(
            f"{name:26s} {kind:8s} {whole:6.2f} {min(taken):6.2f} {surface.bound_mm3 / volume:9.1e} "
            f"{(surface.trapped_mm3 - surface.bound_mm3) / volume:9.1e} {held:9.1e} {naive:9.1e} {gain} × "
            f"{surface.steepest_deg:6.0f}",
            flush=True,
        )


def main() -> None:
    """Measure all bodies."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--shared", action="store_true", help="the shared meshes too")
    asked = parser.parse_args()
    print(
        "body                       kind     all, s surf s    W / V   excess    opening   obvious   "
        "obvious/ours  steep°"
    )
    bench = beside()
    for name, solid in bench.bodies(shared=asked.shared):
        measure(name, bench.prepared(solid))


if __name__ == "__main__":
    main()

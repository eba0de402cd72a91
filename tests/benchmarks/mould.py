"""Whole moulds beside the obvious script, on demo shapes and organic test meshes.

Run by hand: ``python tests/benchmarks/mould.py [--triangles 100000] [--shapes ear fox cow]``. The obvious
script takes the bounding block less the part, split by a plane through the middle along z; its shell is an
exact Minkowski sum of the decimated part with a ball. Both are judged by the same proof. Times are wall
seconds and, in brackets, processor seconds (a busy machine stretches the former).
"""

import argparse
import resource
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import manifold3d
import numpy as np

import demo_shapes
from mirrorprep.condition.mend import mend
from mirrorprep.intake.read import read_scan
from mirrorprep.mould.build import build_mould
from mirrorprep.mould.proof import Proof, prove
from mirrorprep.mould.settings import MouldSettings
from mirrorprep.mould.shell import even_shell
from mirrorprep.progress import Progress
from mirrorprep.solid.certify import certify
from mirrorprep.solid.primitives import box
from mirrorprep.solid.solid import Solid

DATA = Path(__file__).resolve().parents[3] / "shared" / "data" / "organic"
SIZE_MM = 80.0
WALL_MM = 6.0
BALL_SEGMENTS = 12


def shape(name: str) -> Solid:
    """Return a shape by name."""
    if name == "ear":
        return demo_shapes.ear().solid
    if name == "fox":
        return demo_shapes.animal().solid
    file = {"cow": "spot-cow.obj", "bunny": "stanford-bunny.ply"}[name]
    mesh = mend(read_scan(DATA / file, units="m")).mesh
    solid = certify(mesh)
    return solid.transformed(np.diag([SIZE_MM / float(mesh.size_mm.max())] * 3 + [1.0]))


def refined(solid: Solid, triangles: int) -> Solid:
    """Return the solid with its edges divided until it has about so many triangles; its shape stays."""
    low, high = 1e-3, float(solid.mesh.size_mm.max())
    found = solid
    for _ in range(40):
        length = (low * high) ** 0.5
        found = Solid(solid.body.refine_to_length(length))
        count = len(found.mesh.faces)
        if abs(count - triangles) < 0.01 * triangles:
            break
        low, high = (length, high) if count > triangles else (low, length)
    return found if len(solid.mesh.faces) < triangles else solid


def timed(work: Callable[[], Any]) -> tuple[Any, float, float]:
    """Return a result with its wall and processor seconds."""
    wall, cpu = time.perf_counter(), time.process_time()
    result = work()
    return result, time.perf_counter() - wall, time.process_time() - cpu


def obvious(part: Solid) -> tuple[Proof, float]:
    """Build and prove the obvious mould; return the proof and the mould's volume."""
    low, high = part.bounds_mm + np.array([[-WALL_MM], [WALL_MM]])
    block = box((high - low).tolist(), center_mm=(low + high) / 2.0)
    upper, lower = (block - part).split_by_plane([0, 0, 1], float((low[2] + high[2]) / 2.0))
    proof = prove((upper, lower), part, [0, 0, 1], outer_mm3=block.volume_mm3)
    return proof, upper.volume_mm3 + lower.volume_mm3


def minkowski_shell(part: Solid) -> tuple[Solid, int]:
    """Return the exact sum of the decimated part with a faceted ball, and the part's triangles in it."""
    copies = [part.simplified(tolerance) for tolerance in (0.1, 0.2, 0.3, 0.4)]
    coarse = min(copies, key=lambda copy: len(copy.mesh.faces))
    ball = manifold3d.Manifold.sphere(WALL_MM, BALL_SEGMENTS)
    return Solid(coarse.body.minkowski_sum(ball)), len(coarse.mesh.faces)


def stages(marks: list[tuple[str, float]]) -> Progress:
    """Return a reporter that notes when each stage begins."""
    return Progress(lambda label, _: marks.append((label, time.perf_counter())))


def report(name: str, part: Solid) -> None:
    """Print one shape's figures."""
    print(f"\n{name}: {len(part.mesh.faces)} triangles, {part.volume_mm3:.0f} mm³")
    for body in ("shell", "block", "cylinder"):
        marks: list[tuple[str, float]] = []
        made, wall, cpu = timed(
            lambda body=body, marks=marks: build_mould(
                part, settings=MouldSettings(body=body, casting="flexible"), progress=stages(marks)
            )
        )
        start = next(at for label, at in marks if label == "opening the mould")
        proving = marks[0][1] + wall - start
        print(
            f"  {body:14s} {wall:6.2f} s ({cpu:.2f}), of that proof {proving:.2f} s; material "
            f"{sum(half.volume_mm3 for half in made.halves) / 1000:.0f} cm³; {made.parting.kind}; trapped "
            f"{made.trapped_mm3 / part.volume_mm3:.1e}, in the way "
            f"{made.release_interference_mm3 / part.volume_mm3:.1e}; identity {made.identity_error:.0e}; "
            f"sound {made.proof.sound}; wall {made.least_wall_mm:.2f} mm"
        )
        if made.wall_error_mm:
            print(f"{'':17s}wall error {made.wall_error_mm[0]:.2f} to {made.wall_error_mm[1]:.2f} mm")
    (proof, material), wall, cpu = timed(lambda: obvious(part))
    faults = [half.welded_bad_edges + half.welded_degenerate_faces for half in proof.halves]
    print(
        f"  obvious block  {wall:6.2f} s ({cpu:.2f}) with proof; material {material / 1000:.0f} cm³; in the "
        f"way {proof.release_interference_mm3 / part.volume_mm3:.1e}; faults after rounding {faults}"
    )
    shell, wall, cpu = timed(lambda: even_shell(part, WALL_MM))
    print(f"  shell by distances {wall:.2f} s ({cpu:.2f}); error {shell.thickness_error_mm}")
    (summed, left), wall, cpu = timed(lambda: minkowski_shell(part))
    share = summed.volume_mm3 / shell.solid.volume_mm3
    print(
        f"  shell by Minkowski sum, part of {left} triangles: {wall:.2f} s ({cpu:.2f}), filled volume "
        f"{share:.4f} of ours"
    )


def main() -> None:
    """Run the shapes asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--triangles", type=int, default=100_000)
    parser.add_argument("--shapes", nargs="+", default=["ear", "fox"])
    asked = parser.parse_args()
    for name in asked.shapes:
        report(name, refined(shape(name), asked.triangles))
    print(f"\npeak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6:.2f} GB")


if __name__ == "__main__":
    main()

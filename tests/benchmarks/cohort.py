"""Cohorts: speed-up of two workers over one, overhead per scan, and what many scans would cost.

Run from the checkout::

    python tests/benchmarks/cohort.py --scans 200 --triangles 50000

Each scan is a carved animal, slightly deformed by its own seed. The baseline of the ratios is the same batch
with one worker in the same run; the overhead is the clock time of a worker less the time of its scans.
"""

import argparse
import tempfile
import time
from pathlib import Path

import numpy as np

import demo_shapes
from mirrorprep.geometry.normals import vertex_normals
from mirrorprep.handover.files import write_stl
from mirrorprep.job.batch import run_batch
from mirrorprep.job.ledger import Entry

TEMPLATE = """
[job]
code = "C"
purpose = "research"
human_data = false
[scan]
units = "mm"
accuracy_mm = 0.1
[waive]
codes = ["mirror-plane-ambiguous"]
[output]
pictures = {pictures}
"""


def make_scans(folder: Path, count: int, triangles: int) -> None:
    """Write `count` scans of about that many triangles."""
    solid = demo_shapes.animal(detail="full").solid
    step = 0.005
    while len(solid.mesh.faces) > 1.1 * triangles:
        solid, step = solid.simplified(step), 1.3 * step
    mesh = solid.mesh
    normals = vertex_normals(mesh.vertices, mesh.faces)
    for number in range(count):
        rng = np.random.default_rng(number)
        wave = np.sin(mesh.vertices @ rng.normal(scale=0.08, size=3) + rng.uniform(0, 6.28))
        write_stl(
            mesh.with_geometry(mesh.vertices + 0.3 * wave[:, None] * normals), folder / f"{number:04d}.stl"
        )
    print(f"{count} scans of {len(mesh.faces):,} triangles")


def timed(scans: Path, template: Path, out: Path, workers: int) -> tuple[float, list[Entry]]:
    """Return the clock time of a batch and its rows."""
    began = time.perf_counter()
    entries = run_batch(scans, template, out, workers=workers)
    return time.perf_counter() - began, entries


def report(workers: int, clock_s: float, entries: list[Entry]) -> None:
    """Print one line of the table."""
    work = sum(entry.seconds or 0.0 for entry in entries)
    overhead = (workers * clock_s - work) / work
    peak = max(entry.peak_mib or 0.0 for entry in entries)
    done = sum(entry.state == "done" for entry in entries)
    print(
        f"{workers} workers: {clock_s:8.1f} s, {done} of {len(entries)} done, "
        f"{work / len(entries):6.2f} s a scan, overhead {overhead:5.1%}, peak {peak:.0f} MiB a worker"
    )


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--scans", type=int, default=200)
    parser.add_argument("--triangles", type=int, default=50_000)
    parser.add_argument("--pictures", action="store_true")
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as place:
        scans = Path(place) / "scans"
        scans.mkdir()
        make_scans(scans, chosen.scans, chosen.triangles)
        template = Path(place) / "template.toml"
        template.write_text(TEMPLATE.format(pictures=str(chosen.pictures).lower()), encoding="utf-8")
        clocks = {}
        for workers in (1, 2):
            clocks[workers], entries = timed(scans, template, Path(place) / f"out{workers}", workers)
            report(workers, clocks[workers], entries)
        print(f"speed-up of two workers over one: {clocks[1] / clocks[2]:.2f}")
        each = clocks[2] / chosen.scans
        print(f"100 000 scans on two such cores: {100_000 * each / 86_400:.1f} days")


if __name__ == "__main__":
    main()

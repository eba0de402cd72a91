"""Cohorts: speed-up of two workers over one, overhead per scan, and what many scans would cost.

Run from the checkout::

    python tests/benchmarks/cohort.py --scans 200 --baseline 30    # plane, mirror, measure
    python tests/benchmarks/cohort.py --scans 24 --mould           # as far as the verified mould and its pour
    python tests/benchmarks/cohort.py --scans 200 --cluster        # on a dask cluster, one worker killed

Each scan is a carved animal, slightly deformed by its own seed. A worker keeps to one core. The baseline of
the ratios is the same batch, or as many of its scans as ``--baseline`` says, with one worker in the same run;
the overhead is the clock time of a worker less
the time of its scans. With ``--cluster`` the same batch runs on two dask workers on loopback, one of which is
killed once a quarter of the scans is done; its files must equal those of the batch on this machine.
"""

import argparse
import hashlib
import subprocess
import sys
import tempfile
import threading
import time
from contextlib import contextmanager
from pathlib import Path

import numpy as np

import demo_shapes
from mirrorprep.geometry.normals import vertex_normals
from mirrorprep.handover.files import write_stl
from mirrorprep.job.batch import Cluster, run_batch
from mirrorprep.job.ledger import LEDGER_FILE, Entry, Ledger

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
[mould]
build = {mould}
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


def first_of(scans: Path, count: int | None) -> Path:
    """Return a list of the first scans, or the folder of all."""
    if count is None:
        return scans
    listed = scans.with_name("baseline.csv")
    names = [f"{scans.name}/{path.name}" for path in sorted(scans.iterdir())[:count]]
    listed.write_text("\n".join(["file", *names]) + "\n", encoding="utf-8")
    return listed


def timed(scans: Path, template: Path, out: Path, **how) -> tuple[float, list[Entry]]:
    """Return the clock time of a batch and its rows."""
    began = time.perf_counter()
    entries = run_batch(scans, template, out, **how)
    return time.perf_counter() - began, entries


def results(folder: Path) -> dict[str, str]:
    """Return the digest of every file handed over."""
    found = sorted(path for path in folder.glob("C-*/*") if path.is_file())
    return {str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest() for path in found}


@contextmanager
def dask_cluster():
    """Start a scheduler and two worker processes on loopback; give its address and the workers."""
    words = [sys.executable, "-m", "distributed.cli.dask_scheduler", "--host", "127.0.0.1", "--port", "0"]
    scheduler = subprocess.Popen(
        [*words, "--no-dashboard"], stderr=subprocess.PIPE, stdout=subprocess.DEVNULL, text=True
    )
    address = next(line.split()[-1] for line in scheduler.stderr if "tcp://" in line)
    words = ["-m", "distributed.cli.dask_worker", address, "--nthreads", "1", "--no-nanny", "--no-dashboard"]
    workers = [
        subprocess.Popen([sys.executable, *words], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        for _ in range(2)
    ]
    try:
        yield address, workers
    finally:
        for process in (*workers, scheduler):
            process.kill()
            process.wait()


def kill_after(worker: subprocess.Popen, ledger: Path, done: int) -> None:
    """Kill a worker once that many scans are done."""
    while not ledger.exists() or sum(e.state == "done" for e in Ledger(ledger).entries()) < done:
        time.sleep(0.5)
    worker.kill()


def on_cluster(scans: Path, template: Path, place: Path, calm: Path) -> None:
    """Run the batch on a cluster that loses a worker, and compare."""
    out = place / "cluster"
    count = len(list(scans.iterdir()))
    with dask_cluster() as (address, workers):
        threading.Thread(
            target=kill_after, args=(workers[0], out / LEDGER_FILE, count // 4), daemon=True
        ).start()
        clock_s, entries = timed(scans, template, out, cluster=Cluster(address=address))
        lost = workers[0].poll() is not None
    same = results(out) == results(calm)
    print(
        f"dask, two workers, {'one killed' if lost else 'NONE KILLED'} after {count // 4}: {clock_s:.1f} s, "
        f"{sum(entry.state == 'done' for entry in entries)} of {count} done, "
        f"{'same bytes' if same else 'OTHER BYTES'}"
    )


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
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--scans", type=int, default=200)
    parser.add_argument("--baseline", type=int, help="scans of the run with one worker; all when left out")
    parser.add_argument("--triangles", type=int, default=50_000)
    parser.add_argument("--mould", action="store_true", help="build, prove and pour a mould for each scan")
    parser.add_argument("--pictures", action="store_true", help="draw the traveller's pictures")
    parser.add_argument("--cluster", action="store_true", help="on a dask cluster that loses a worker")
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        place = Path(name)
        scans, template = place / "scans", place / "template.toml"
        scans.mkdir()
        make_scans(scans, chosen.scans, chosen.triangles)
        switches = {name: str(getattr(chosen, name)).lower() for name in ("mould", "pictures")}
        template.write_text(TEMPLATE.format(**switches), encoding="utf-8")
        each = {}
        for workers in (2,) if chosen.cluster else (1, 2):
            source = first_of(scans, chosen.baseline) if workers == 1 else scans
            clock_s, entries = timed(source, template, place / f"out{workers}", workers=workers)
            report(workers, clock_s, entries)
            each[workers] = clock_s / len(entries)
        if chosen.cluster:
            on_cluster(scans, template, place, place / "out2")
            return
        print(f"speed-up of two workers over one: {each[1] / each[2]:.2f}")
        alone, both = results(place / "out1"), results(place / "out2")
        print(f"same bytes: {alone == {name: both[name] for name in alone}}")
        print(f"100 000 scans on two such cores: {100_000 * each[2] / 86_400:.1f} days")


if __name__ == "__main__":
    main()

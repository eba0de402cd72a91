"""Cohorts under fire: workers and parents of a batch are killed at random, again and again.

Run from the checkout::

    python tests/benchmarks/cohort_kills.py --rounds 20

Every round runs the same batch of small scans in a new folder. At random moments one of its worker processes
or the parent gets SIGKILL; a batch whose parent died is started again, until it ends by itself. Then every
file must equal the one of an undisturbed batch, and every scan must have ended as it did there.
"""

import argparse
import hashlib
import os
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from contextlib import suppress
from pathlib import Path

import numpy as np

from mirrorprep.handover.files import write_stl
from mirrorprep.job.ledger import LEDGER_FILE, Ledger
from mirrorprep.solid.primitives import box, sphere

TEMPLATE = """
[job]
code = "K"
purpose = "research"
human_data = false
[scan]
units = "mm"
[plane]
normal = [0, 1, 0]
[mould]
build = false
[output]
pictures = false
"""


def make_cohort(folder: Path, count: int) -> list[str]:
    """Write the scans, the last of them no mesh at all, and return the words of the command."""
    scans = folder / "scans"
    scans.mkdir()
    for number in range(count - 1):
        body = sphere(20.0 + number, segments=96).transformed(np.diag([1.0, 0.8, 0.6, 1.0]))
        write_stl(body + box([9, 9, 9], center_mm=[6, 0, 12 + number]), scans / f"{number}.stl")
    (scans / "broken.stl").write_bytes(b"not a mesh at all")
    (folder / "job.toml").write_text(TEMPLATE, encoding="utf-8")
    words = ["batch", str(scans), "--job", str(folder / "job.toml"), "--workers", "2", "-o"]
    return [sys.executable, "-m", "mirrorprep", *words]


def workers_of(parent: int) -> list[int]:
    """Return the process numbers of a batch's workers."""
    found = []
    for place in Path("/proc").glob("[0-9]*"):
        with suppress(OSError):
            above = int((place / "stat").read_text().rsplit(")", 1)[1].split()[1])
            if above == parent and b"spawn_main" in (place / "cmdline").read_bytes():
                found.append(int(place.name))
    return found


def results(folder: Path) -> dict[str, str]:
    """Return the digest of every file handed over."""
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.glob("K-*/*"))
        if path.is_file()
    }


def fire_at(running: subprocess.Popen, rng: np.random.Generator, longest_s: float) -> str:
    """Wait a random while, kill the parent or one worker, and return which; empty when all had ended."""
    try:
        running.wait(rng.uniform(0.1, longest_s))
    except subprocess.TimeoutExpired:
        victims = workers_of(running.pid)
        if victims and rng.random() < 0.5:
            with suppress(ProcessLookupError):
                os.kill(int(rng.choice(victims)), signal.SIGKILL)
            return "worker"
        running.kill()
        return "parent"
    return ""


def disturbed(command: list[str], folder: Path, rng: np.random.Generator, longest_s: float) -> Counter:
    """Run one batch to its end, killing at random at most six times, and return how often what was killed."""
    killed: Counter = Counter()
    while True:
        running = subprocess.Popen(
            [*command, str(folder)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        victim = fire_at(running, rng, longest_s) if killed.total() < 6 else ""
        if victim:
            killed[victim] += 1
        code = running.wait()
        if code >= 0:
            return killed


def main() -> None:
    """Print what was killed and what came of it."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rounds", type=int, default=20)
    parser.add_argument("--scans", type=int, default=7)
    parser.add_argument("--seed", type=int, default=0)
    chosen = parser.parse_args()
    rng = np.random.default_rng(chosen.seed)
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        command = make_cohort(folder, chosen.scans)
        began = time.perf_counter()
        subprocess.run([*command, str(folder / "calm")], check=True, capture_output=True)
        calm_s = time.perf_counter() - began
        calm = results(folder / "calm")
        states = Counter(entry.state for entry in Ledger(folder / "calm" / LEDGER_FILE).entries())
        print(f"undisturbed: {dict(states)}, {len(calm)} files, {calm_s:.1f} s")
        total, equal = Counter(), 0
        for number in range(chosen.rounds):
            out = folder / f"round{number}"
            total += disturbed(command, out, rng, calm_s)
            ended = Counter(entry.state for entry in Ledger(out / LEDGER_FILE).entries())
            same = results(out) == calm and ended == states
            equal += same
            print(f"round {number}: {'same' if same else f'DIFFERENT {dict(ended)}'}", flush=True)
        print(f"{equal} of {chosen.rounds} rounds with the same bytes and states; killed: {dict(total)}")


if __name__ == "__main__":
    main()

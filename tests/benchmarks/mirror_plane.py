"""Benchmark of the mirror plane: damage, baselines, doubt, time and memory.

::

    python tests/benchmarks/mirror_plane.py --runs 20 --save runs.jsonl     # everything, resumable
    python tests/benchmarks/mirror_plane.py --runs 2 --shapes head,cow      # a quick look
    python tests/benchmarks/mirror_plane.py --only time                    # time and memory alone

A run is a success within 1° and 1 % of the diagonal. It is flagged when the status is not 'clear'. A
failure that is not flagged is silent. Angles in degrees, offsets in % of the diagonal; median over all
runs, worst over the clear ones (for the baselines over their successes). The baselines take most of the
time and join every fifth run of a shape; 'ours there' counts our successes in just those runs.
"""

import argparse
import json
import subprocess
import sys
import time
import zlib
from collections.abc import Iterable
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

import mirror_plane_baselines as baselines
import mirror_plane_doubtful as doubtful
import mirror_plane_shapes as shapes

from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.symmetry.search import find_mirror_plane

SUCCESS_DEG, SUCCESS_PERCENT = 1.0, 1.0
TIMED = (10_000, 100_000, 1_000_000)
BASELINES_EVERY = 5


def generator(*words: object) -> np.random.Generator:
    return np.random.default_rng(zlib.crc32("|".join(map(str, words)).encode()))


def errors(normal, offset, truth, diagonal: float) -> tuple[float, float]:
    """Return angle in degrees and distance at the body's middle in % of the diagonal."""
    true_normal, _, middle = truth
    sine = np.linalg.norm(np.cross(normal, true_normal))
    angle = float(np.degrees(np.arctan2(sine, abs(normal @ true_normal))))
    return angle, abs(float(normal @ middle) - offset) / diagonal * 100


def ours(condition: str, name: str, number: int) -> dict:
    """Return one run without the baselines."""
    return _searched(condition, name, number)[0]


def _searched(condition: str, name: str, number: int):
    rng = generator(condition, name, number)
    mesh, normal, offset, middle = shapes.posed(shapes.CONDITIONS[condition](name, rng), rng)
    truth, diagonal = (normal, offset, middle), shapes.diagonal(mesh)
    start = time.perf_counter()
    result = find_mirror_plane(ScanMesh(vertices=mesh[0], faces=mesh[1]))
    taken = time.perf_counter() - start
    entry = {
        "condition": condition,
        "shape": name,
        "number": number,
        "triangles": len(mesh[1]),
        "ours": errors(result.plane.normal, result.plane.offset_mm, truth, diagonal),
        "off_mm": abs(float(result.plane.distance_mm(middle[None])[0])),
        "status": result.status,
        "sd": (result.sd_deg, result.sd_mm / diagonal * 100),
        "nats": result.evidence_nats,
        "scores": [ranked.score for ranked in result.alternatives],
        "time_s": taken,
    }
    return entry, mesh, truth, diagonal


def run(condition: str, name: str, number: int) -> dict:
    entry, mesh, truth, diagonal = _searched(condition, name, number)
    if number % BASELINES_EVERY:
        return entry
    points, normals = baselines.sampled(mesh, number)
    principal = [errors(*plane, truth, diagonal) for plane in baselines.principal_planes(points)]
    return {
        **entry,
        "pca": min(principal),
        "icp": errors(*baselines.mirrored_icp(points, normals, number), truth, diagonal),
    }


def good(error: Iterable[float]) -> bool:
    angle, offset = error
    return angle < SUCCESS_DEG and offset < SUCCESS_PERCENT


def row(condition: str, runs: list[dict]) -> str:
    ours = np.array([r["ours"] for r in runs])
    ok = np.array([good(r["ours"]) for r in runs])
    clear = np.array([r["status"] == "clear" for r in runs])
    trusted = ours[clear] if clear.any() else np.full((1, 2), np.nan)
    cells = [
        condition,
        f"{len(runs)}",
        f"{ok.sum()}",
        f"{(~ok & ~clear).sum()}",
        f"{(~ok & clear).sum()}",
        f"{(ok & ~clear).sum()}",
        f"{np.median(ours[:, 0]):.4f}",
        f"{trusted[:, 0].max():.3f}",
        f"{np.median(ours[:, 1]):.4f}",
        f"{trusted[:, 1].max():.3f}",
        *baseline_cells([r for r in runs if "icp" in r]),
    ]
    return "| " + " | ".join(cells) + " |"


def baseline_cells(runs: list[dict]) -> list[str]:
    if not runs:
        return ["0", *["–"] * 5]
    icp = np.array([r["icp"] for r in runs])
    ok = np.array([good(r["icp"]) for r in runs])
    return [
        f"{len(runs)}",
        f"{sum(good(r['ours']) for r in runs)}",
        f"{ok.sum()}",
        f"{np.median(icp[:, 0]):.3f}",
        f"{icp[ok, 0].max():.2f}" if ok.any() else "–",
        f"{sum(good(r['pca']) for r in runs)}",
    ]


HEADER = (
    "| condition | runs | ok | wrong, flagged | wrong, silent | right, flagged | median° | worst° | "
    "offset median % | offset worst % | runs with baselines | ours there | ICP ok | ICP median° | "
    "ICP worst° | PCA ok |\n" + "|---" * 16 + "|"
)


class Store:
    """Finished runs, one JSON object a line, so that a long benchmark can go on where it stopped."""

    def __init__(self, path: Path | None) -> None:
        self.path = path
        lines = path.read_text(encoding="utf-8").splitlines() if path and path.exists() else []
        self.done = {self.key(entry): entry for entry in map(json.loads, lines)}

    @staticmethod
    def key(entry: dict) -> tuple:
        return entry["condition"], entry["shape"], entry["number"]

    def runs(self, condition: str, names: Iterable[str], options: argparse.Namespace, make) -> list[dict]:
        """Return the finished runs, after making those that are missing unless told not to."""
        keys = [(condition, name, number) for number in range(options.runs) for name in names]
        if options.no_new:
            return [self.done[key] for key in keys if key in self.done]
        return [self.get(*key, make) for key in keys]

    def get(self, condition: str, name: str, number: int, make) -> dict:
        key = (condition, name, number)
        if key not in self.done:
            self.done[key] = make(condition, name, number)
            if self.path:
                with self.path.open("a", encoding="utf-8") as file:
                    file.write(json.dumps(self.done[key]) + "\n")
        return self.done[key]


def damage_table(options: argparse.Namespace, store: Store) -> None:
    print(HEADER)
    everything = []
    for condition in options.conditions:
        names = [name for name in shapes.bodies_of(condition) if name in options.shapes]
        runs = store.runs(condition, names, options, run)
        if runs:
            print(row(condition, runs), flush=True)
            everything += runs
    if not everything:
        return
    ratio = [r["ours"][0] / max(r["sd"][0], 1e-9) for r in everything if good(r["ours"])]
    shares = np.percentile(ratio, [50, 68, 90, 95, 99])
    print(
        "\nerror / stated sd: "
        + ", ".join(f"{p} % {v:.2f}" for p, v in zip((50, 68, 90, 95, 99), shares, strict=True))
    )
    for r in everything:
        if not good(r["ours"]) and r["status"] == "clear":
            print("silent:", r["condition"], r["shape"], r["number"], r["ours"], r["scores"])


def doubt_table(options: argparse.Namespace, store: Store) -> None:
    print("\n| body | kind | runs | clear | ambiguous | weak |\n|---|---|---|---|---|---|")
    for name, (kind, _) in doubtful.BODIES.items():
        runs = store.runs("doubt", [name], options, doubtful.run)
        counts = [sum(r["status"] == status for r in runs) for status in ("clear", "ambiguous", "weak")]
        print(f"| {name} | {kind} | {len(runs)} | " + " | ".join(map(str, counts)) + " |", flush=True)


TIMER = """
import resource, sys, time
import demo_shapes
from mirrorprep.symmetry.search import find_mirror_plane
head = demo_shapes.phantom_head("full").scan
mesh = demo_shapes.refined(head, int(sys.argv[1])) if int(sys.argv[1]) > len(head.faces) else head
if int(sys.argv[1]) < len(head.faces):
    import pyvista, numpy as np
    raw = pyvista.PolyData.from_regular_faces(head.vertices, head.faces)
    small = raw.decimate(1 - int(sys.argv[1]) / len(head.faces))
    mesh = head.with_geometry(np.array(small.points, float), small.regular_faces)
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
times = []
for _ in range(5):
    start = time.perf_counter(); find_mirror_plane(mesh); times.append(time.perf_counter() - start)
after = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
print(len(mesh.faces), min(times), (after - before) / 1024)
"""


def time_table() -> None:
    print("\n| triangles | time s (least of 5) | memory on top MB |\n|---|---|---|")
    for count in TIMED:
        answer = subprocess.run(
            [sys.executable, "-c", TIMER, str(count)], capture_output=True, text=True, check=True
        )
        faces, seconds, megabytes = answer.stdout.split()[-3:]
        print(f"| {faces} | {float(seconds):.2f} | {float(megabytes):.0f} |", flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=20, help="random poses and defects per shape")
    parser.add_argument("--conditions", help="beginnings of condition names, comma separated")
    parser.add_argument("--shapes", help="names, comma separated")
    parser.add_argument("--only", choices=["damage", "doubt", "time"])
    parser.add_argument("--save", type=Path, help="file that keeps finished runs")
    parser.add_argument("--no-new", action="store_true", help="print what the file holds, run nothing")
    options = parser.parse_args()
    wanted = tuple(options.conditions.split(",")) if options.conditions else ("",)
    options.conditions = [c for c in shapes.CONDITIONS if c.startswith(wanted)]
    options.shapes = options.shapes.split(",") if options.shapes else list(shapes.CUTS)
    store = Store(options.save)
    if options.only in (None, "damage"):
        damage_table(options, store)
    if options.only in (None, "doubt"):
        doubt_table(options, store)
    if options.only in (None, "time"):
        time_table()


if __name__ == "__main__":
    main()

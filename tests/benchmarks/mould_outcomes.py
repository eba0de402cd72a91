"""Every demo shape, public test mesh and closed mesh of installed packages: a verified mould or a refusal.

Run by hand: ``python tests/benchmarks/mould_outcomes.py [--only NAME ...]``. Bodies are scaled to 80 mm and
cast flexible, unless asked otherwise; those that are no solid are mended first. Seconds are processor time of
building and proving, memory is the peak of a process of its own. Crossings are pairs of triangles of both
halves that meet, counted by libigl's exact predicates where that is installed. Package meshes are those that
come inside the wheels; nothing is fetched.
"""

import argparse
import importlib
import multiprocessing
import os
import resource
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from functools import partial
from importlib.util import find_spec
from pathlib import Path

import numpy as np

import demo_shapes
from mirrorprep.condition.mend import mend
from mirrorprep.errors import MirrorPrepError
from mirrorprep.intake.read import read_scan
from mirrorprep.mould.build import build_mould
from mirrorprep.mould.result import Mould
from mirrorprep.mould.settings import BODIES, CASTINGS, PARTINGS, MouldSettings
from mirrorprep.solid.finding import Severity
from mirrorprep.solid.mesh import ScanMesh

DATA = Path(__file__).resolve().parents[3] / "shared" / "data"
SIZE_MM = 80.0
COLUMNS = (
    "body", "triangles", "seconds", "GiB", "parting", "trapped", "interference", "identity error",
    "crossings", "outcome",
)  # fmt: skip
PYVISTA = ("ant", "airplane", "globe", "hexbeam", "nut", "rectilinear", "sphere", "uniform")
BRAINS = ("infl", "pial", "sphere", "white")

_Loader = Callable[[], ScanMesh]


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What became of one body; figures are None where none was reached."""

    name: str
    triangles: int
    seconds: float
    memory_gib: float
    words: str
    codes: tuple[str, ...] = ()
    mould: tuple[str, float, float, float] | None = None
    crossings: int | None = None

    @property
    def line(self) -> str:
        """One row of the table."""
        kind, *figures = self.mould or ("-", None, None, None)
        percents = ["-" if x is None else f"{x:.3f} %" for x in figures[:2]]
        identity = "-" if figures[2] is None else f"{figures[2]:.0e}"
        found = "-" if self.crossings is None else str(self.crossings)
        cells = [self.name, str(self.triangles), f"{self.seconds:.1f}", f"{self.memory_gib:.1f}", kind]
        return row([*cells, *percents, identity, found, self.words])


def row(cells: Sequence[str]) -> str:
    """Return a row of a Markdown table."""
    return f"| {' | '.join(cells)} |"


def bodies() -> Iterator[tuple[str, _Loader]]:
    """Yield names and loaders; packages that are not installed and folders that are absent are left out."""
    yield "demo ear", lambda: demo_shapes.ear().solid.mesh
    yield "demo missing ear", lambda: demo_shapes.phantom_head("small").true_ear
    yield "demo fox", lambda: demo_shapes.animal().solid.mesh
    for name in demo_shapes.PLAIN_NAMES:
        yield f"demo {name}", partial(_plain, name)
    yield "demo head small", lambda: demo_shapes.phantom_head("small").scan
    yield "demo head", lambda: demo_shapes.phantom_head("full").scan
    for folder in ("organic", "scans"):
        for path in sorted((DATA / folder).glob("*")):
            yield path.stem, partial(read_scan, path, units="mm")
    yield from packaged()


def packaged() -> Iterator[tuple[str, _Loader]]:
    """Yield the surfaces inside the wheels of pyvista, mne and nilearn."""
    if find_spec("pyvista"):
        for name in PYVISTA:
            yield f"pyvista {name}", partial(_pyvista, name)
    if find_spec("mne"):
        for name in ("fsaverage/fsaverage-head.fif", "fsaverage/fsaverage-inner_skull-bem.fif"):
            yield f"mne {Path(name).stem.removeprefix('fsaverage-')}", partial(_mne, name, 0)
        for number in range(8):
            yield f"mne icosahedron {number}", partial(_mne, "icos.fif.gz", number)
    if find_spec("nilearn"):
        for side in ("left", "right"):
            for name in BRAINS:
                yield f"nilearn {name} {side}", partial(_nilearn, f"{name}_{side}")


def _plain(name: str) -> ScanMesh:
    return demo_shapes.plain(name).solid.mesh


def _folder(package: str) -> Path:
    spec = find_spec(package)
    assert spec is not None
    assert spec.origin is not None
    return Path(spec.origin).parent


def _pyvista(name: str) -> ScanMesh:
    pyvista = importlib.import_module("pyvista")
    (file,) = (_folder("pyvista") / "examples").glob(f"{name}.*[yk]")
    surface = pyvista.read(file).extract_surface(algorithm="dataset_surface").triangulate()
    faces = np.asarray(surface.faces).reshape(-1, 4)[:, 1:]
    return ScanMesh(vertices=np.asarray(surface.points, dtype=np.float64), faces=faces)


def _mne(name: str, number: int) -> ScanMesh:
    surfaces = importlib.import_module("mne").read_bem_surfaces(
        _folder("mne") / "data" / name, verbose="error"
    )
    chosen = surfaces[number]
    return ScanMesh(vertices=np.asarray(chosen["rr"], dtype=np.float64), faces=np.asarray(chosen["tris"]))


def _nilearn(name: str) -> ScanMesh:
    file = _folder("nilearn") / "datasets" / "data" / "fsaverage5" / f"{name}.gii.gz"
    points, faces = (array.data for array in importlib.import_module("nibabel").load(file).darrays)
    return ScanMesh(vertices=np.asarray(points, dtype=np.float64), faces=np.asarray(faces))


def outcome(name: str, size_mm: float, settings: MouldSettings) -> Outcome:
    """Mend a body, build and prove its mould."""
    mesh = dict(bodies())[name]()
    scale = size_mm / float(mesh.size_mm.max())
    scaled = ScanMesh(vertices=np.array(mesh.vertices) * scale, faces=mesh.faces)
    start = time.process_time()
    made: Mould | None = None
    codes: tuple[str, ...] = ()
    try:
        mended = mend(scaled)
        if mended.solid is None:
            words = f"not mended: {mended.findings[0].message} {mended.findings[0].remedy}"
        else:
            made = build_mould(mended.solid, settings=settings)
            stops = [finding for finding in made.findings if finding.severity is Severity.STOP]
            codes = tuple(finding.code for finding in stops)
            words = "; ".join(f"stopped: {f.code}: {f.message} {f.remedy}" for f in stops) or "verified"
    except MirrorPrepError as error:
        words = f"refused: {error}"
    return Outcome(
        name=name,
        triangles=len(mesh.faces),
        seconds=time.process_time() - start,
        memory_gib=resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20,
        words=words,
        codes=codes,
        mould=None if made is None else _figures(made),
        crossings=None if made is None else _crossings(made),
    )


def _figures(made: Mould) -> tuple[str, float, float, float]:
    percent = 100.0 / made.cavity_volume_mm3
    shares = percent * made.trapped_mm3, percent * made.release_interference_mm3
    return made.parting.kind, *shares, made.identity_error


def _crossings(made: Mould) -> int | None:
    """Count pairs of triangles that meet beside their common corners in the files; exact predicates."""
    try:
        predicates = importlib.import_module("igl.predicates")
    except ImportError:
        return None
    found = 0
    for half in made.halves:
        vertices = half.solid.mesh.vertices.astype(np.float32).astype(np.float64)
        pairs = predicates.find_self_intersections(vertices, np.array(half.solid.mesh.faces))[1]
        found += len(pairs)
    return found


def main() -> None:
    """Print one line per body, each from a process of its own."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--only", nargs="*", default=[])
    parser.add_argument("--without", nargs="*", default=[])
    parser.add_argument("--size-mm", type=float, default=SIZE_MM)
    parser.add_argument("--casting", default="flexible", choices=CASTINGS)
    parser.add_argument("--body", default="shell", choices=BODIES)
    parser.add_argument("--parting", default="auto", choices=PARTINGS)
    asked = parser.parse_args()
    settings = MouldSettings(casting=asked.casting, body=asked.body, parting=asked.parting)
    print(row(COLUMNS))
    print(row(["---"] * len(COLUMNS)))
    for name, _ in bodies():
        if asked.only and not any(word in name for word in asked.only):
            continue
        if any(word in name for word in asked.without):
            continue
        with ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn")) as pool:
            try:
                print(pool.submit(outcome, name, asked.size_mm, settings).result().line, flush=True)
            except BrokenProcessPool:
                print(row([name, *["-"] * 8, "the process died"]), flush=True)


if __name__ == "__main__":
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    main()

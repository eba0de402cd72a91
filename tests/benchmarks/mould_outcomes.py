"""Every demo shape, organic test mesh and closed mesh of installed packages: a verified mould or a refusal.

Run by hand: ``python tests/benchmarks/mould_outcomes.py [--only NAME ...]``. Bodies are scaled to 80 mm;
those that are no solid are mended first. Seconds are processor seconds of building and proving.
"""

import argparse
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np

import demo_shapes
from mirrorprep.condition.mend import mend
from mirrorprep.errors import MirrorPrepError
from mirrorprep.intake.read import read_scan
from mirrorprep.mould.build import build_mould
from mirrorprep.mould.settings import MouldSettings
from mirrorprep.solid.finding import Severity
from mirrorprep.solid.mesh import ScanMesh

DATA = Path(__file__).resolve().parents[3] / "shared" / "data" / "organic"
SIZE_MM = 80.0
PACKAGED = ("load_ant", "load_airplane", "load_sphere", "load_nut")


def meshes() -> Iterator[tuple[str, ScanMesh]]:
    """Yield names and meshes; packages that are not installed are left out."""
    yield "demo ear", demo_shapes.ear().solid.mesh
    yield "demo fox", demo_shapes.animal().solid.mesh
    for name in demo_shapes.PLAIN_NAMES:
        yield f"demo {name}", demo_shapes.plain(name).solid.mesh
    for path in sorted(DATA.glob("*")) if DATA.is_dir() else ():
        yield path.stem, read_scan(path, units="mm")
    yield from packaged()


def packaged() -> Iterator[tuple[str, ScanMesh]]:
    """Yield the surfaces that come with pyvista."""
    try:
        from pyvista import examples
    except ImportError:
        return
    for name in PACKAGED:
        if hasattr(examples, name):
            surface = getattr(examples, name)().extract_surface(algorithm="dataset_surface").triangulate()
            faces = np.asarray(surface.faces).reshape(-1, 4)[:, 1:]
            points = np.asarray(surface.points, dtype=np.float64)
            yield f"pyvista {name[5:]}", ScanMesh(vertices=points, faces=faces)


def outcome(mesh: ScanMesh) -> str:
    """Build and prove a mould; return one line."""
    scale = SIZE_MM / float(mesh.size_mm.max())
    scaled = ScanMesh(vertices=np.array(mesh.vertices) * scale, faces=mesh.faces)
    start = time.process_time()
    try:
        mended = mend(scaled)
        if mended.solid is None:
            return f"{len(mesh.faces):7d}  not mended: {mended.findings[0].message}"
        made = build_mould(mended.solid, settings=MouldSettings(casting="flexible"))
    except MirrorPrepError as error:
        return f"{len(mesh.faces):7d}  refused: {error.message}"
    spent = time.process_time() - start
    stops = [finding.message for finding in made.findings if finding.severity is Severity.STOP]
    words = "verified" if not stops else f"stopped: {stops[0]}"
    percent = 100.0 / made.cavity_volume_mm3
    return (
        f"{len(mesh.faces):7d}  {spent:5.1f} s  {made.parting.kind:7s} {percent * made.trapped_mm3:8.3f} % "
        f"{percent * made.release_interference_mm3:8.3f} %  {made.identity_error:.0e}  {words}"
    )


def main() -> None:
    """Print one line per mesh."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--only", nargs="*", default=[])
    asked = parser.parse_args()
    print("mesh  triangles  CPU  parting  trapped  opening interference  identity error  outcome")
    for name, mesh in meshes():
        if not asked.only or any(word in name for word in asked.only):
            print(f"{name:26s} {outcome(mesh)}", flush=True)


if __name__ == "__main__":
    main()

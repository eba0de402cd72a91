"""Mending beside the obvious scripts: how often a clean solid results, how near it is, and how long it takes.

Run from the checkout::

    python tests/benchmarks/mending.py --folder ../shared/data

The baselines in the same run are trimesh's repair functions (merge, fix normals, fill holes) and VTK's
clean, fill holes and normals through pyvista. Reading, checking and mending a million triangles is timed too.
"""

import argparse
import os
import resource
import tempfile
import time
import warnings
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pyvista
import trimesh

import demo_shapes
from demo_shapes.damage import damaged, refined
from demo_shapes.head import phantom_head
from mirrorprep import ScanMesh, check, mend, read_scan
from mirrorprep.condition.mend import MendSettings
from mirrorprep.errors import MirrorPrepError
from mirrorprep.geometry.surface_index import SurfaceIndex
from mirrorprep.handover.files import write_stl
from mirrorprep.solid.primitives import sphere

Way = Callable[[ScanMesh], ScanMesh]


def ours(mesh: ScanMesh) -> ScanMesh:
    return mend(mesh).mesh


def ours_flat(mesh: ScanMesh) -> ScanMesh:
    return mend(mesh, steps=MendSettings(smooth_angle_deg=0.0)).mesh


def by_trimesh(mesh: ScanMesh) -> ScanMesh:
    raw = trimesh.Trimesh(mesh.vertices, mesh.faces, process=True)
    raw.update_faces(raw.nondegenerate_faces() & raw.unique_faces())
    trimesh.repair.fix_normals(raw, multibody=True)
    trimesh.repair.fill_holes(raw)
    return ScanMesh(vertices=np.array(raw.vertices), faces=np.array(raw.faces))


def by_vtk(mesh: ScanMesh) -> ScanMesh:
    raw = pyvista.PolyData.from_regular_faces(np.array(mesh.vertices), np.array(mesh.faces))
    raw = raw.clean().fill_holes(1e9).triangulate().clean()
    raw = raw.compute_normals(consistent_normals=True, auto_orient_normals=True, split_vertices=False)
    return ScanMesh(vertices=np.array(raw.points, dtype=float), faces=raw.regular_faces.astype(np.int64))


WAYS: dict[str, Way] = {"ours": ours, "ours, flat": ours_flat, "trimesh": by_trimesh, "VTK": by_vtk}


def without_cap(mesh: ScanMesh, place: np.ndarray, radius_mm: float) -> ScanMesh:
    """Return the mesh without the triangles about a place."""
    far = np.linalg.norm(mesh.triangles.mean(axis=1) - place, axis=1) > radius_mm
    return mesh.with_geometry(mesh.vertices, mesh.faces[far])


def fidelity() -> None:
    """Print how far the fillings lie from what was cut away, as a share of the hole's width."""
    ball = sphere(50.0, segments=200).mesh
    egg = ball.with_geometry(ball.vertices * [1.2, 1.0, 0.84])
    phantom = phantom_head("full")
    head, marks = phantom.scan, phantom.landmarks
    corners = [marks[name] for name in ("exocanthion_left", "cheilion_left", "tragion_left")]
    cases = [("sphere", ball, ball.vertices[0], r) for r in (5, 15, 30)]
    cases += [("ellipsoid", egg, egg.vertices[0], r) for r in (5, 15, 30)]
    for name, place in (("cheek", np.mean(corners, axis=0)), ("tip of the nose", marks["pronasale"])):
        nearest = head.vertices[np.argmin(np.linalg.norm(head.vertices - place, axis=1))]
        cases += [(name, head, nearest, r) for r in (5, 10, 20)]
    print("\nLargest (RMS) distance of the filling from the missing part, % of the hole's width")
    for name, mesh, place, radius in cases:
        opened = without_cap(mesh, place, radius)
        row = [f"{name}, {2 * radius} mm".ljust(24)]
        for label, way in WAYS.items():
            row.append(f"{label}: {error(way(opened), mesh, place, radius)}")
        print("  ".join(row))


def error(mended: ScanMesh, true: ScanMesh, place: np.ndarray, radius: float) -> str:
    """Return the two-sided distance near the hole: a hole left open shows as the missing part's distance."""
    near = [mesh.vertices[np.linalg.norm(mesh.vertices - place, axis=1) < radius] for mesh in (mended, true)]
    distances = [
        SurfaceIndex(other.vertices, other.faces).closest(points).distance_mm
        for points, other in zip(near, (true, mended), strict=True)
        if len(points)
    ]
    both = np.concatenate(distances) / (2.0 * radius) * 100.0
    return f"{both.max():6.2f} ({np.sqrt((both**2).mean()):.2f})"


def scans(folder: Path | None) -> list[tuple[str, ScanMesh]]:
    """Return damaged twins of the demo shapes, and the public meshes."""
    found = []
    for name, mesh in (
        ("animal", demo_shapes.animal(detail="full").solid.mesh),
        ("head", phantom_head("full").scan),
    ):
        found += [
            (f"{name}, {kind}", damaged(mesh, [kind], seed=1).scan) for kind in ("holes", "spikes", "raw")
        ]
    for path in sorted(folder.glob("*/*")) if folder else []:
        try:
            found.append((path.name, read_scan(path, units="mm")))
        except MirrorPrepError:
            continue
    return found


def success(folder: Path | None) -> None:
    """Print for each way how many scans became solid and how many of these are free of crossings."""
    tally = {label: [0, 0, 0.0] for label in ("ours", "trimesh", "VTK")}
    everything = scans(folder)
    for name, mesh in everything:
        row = [name.ljust(44)]
        for label, counts in tally.items():
            began = time.perf_counter()
            try:
                report = check(WAYS[label](mesh))
            except Exception as problem:  # noqa: BLE001 - a baseline may fail in any way
                row.append(f"{label}: {type(problem).__name__}")
                continue
            pairs = report.self_intersections + report.neighbour_intersections
            counts[0] += report.solid
            counts[1] += report.solid and pairs == 0
            counts[2] += time.perf_counter() - began
            row.append(f"{label}: {'solid' if report.solid else 'open '} {pairs:5d}")
        print("  ".join(row))
    print(f"\nOf {len(everything)}: solid, solid without crossings, seconds (mend and check)")
    for label, (solid, clean, seconds) in tally.items():
        print(f"  {label.ljust(8)} {solid:3d} {clean:3d} {seconds:7.1f}")


def million() -> None:
    """Print time and memory of reading, checking and mending a damaged scan of a million triangles."""
    whole = phantom_head("full").scan
    kept_share = len(damaged(whole, ["raw"], seed=1).scan.faces) / len(whole.faces)
    scan = damaged(refined(whole, round(1_000_000 / kept_share)), ["raw"], seed=1).scan
    with tempfile.TemporaryDirectory() as folder:
        path = write_stl(scan, Path(folder) / "scan.stl")
        triangles, result = len(scan.faces), None
        print(f"\n{triangles} triangles; load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
        total = np.zeros(2)
        for label, stage in (
            ("read", lambda _: read_scan(path, units="mm")),
            ("check", lambda mesh: (check(mesh), mesh)[1]),
            ("mend", mend),
        ):
            began = np.array([time.perf_counter(), time.process_time()])
            result = stage(result)
            spent = np.array([time.perf_counter(), time.process_time()]) - began
            total += spent
            print(f"  {label.ljust(6)} {spent[0]:6.1f} s wall, {spent[1]:6.1f} s processor")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
    print(f"  in all {total[0]:6.1f} s wall, {total[1]:6.1f} s processor, peak {peak:.2f} GiB")
    for step in result.steps:
        print(f"  {step.name}: {step.summary}")
    print(f"  certified: {result.solid is not None}, crossings left: {result.self_intersections}")
    print(f"  load {os.getloadavg()[0]:.1f}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--folder", type=Path, help="folder of public meshes")
    parser.add_argument("--only", choices=["fidelity", "success", "million"])
    chosen = parser.parse_args()
    warnings.simplefilter("ignore")
    if chosen.only in (None, "million"):
        million()  # first, so that the peak is its own
    if chosen.only in (None, "fidelity"):
        fidelity()
    if chosen.only in (None, "success"):
        success(chosen.folder)


if __name__ == "__main__":
    main()

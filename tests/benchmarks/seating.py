"""How well the phantom's missing ear is seated, and in what time; run by hand.

Beside it stands the obvious script: the mirrored head less the head, largest piece. At full detail that
falls into thousands of pieces and takes minutes.

    python tests/benchmarks/seating.py [full|small]
"""

import sys
import time

import numpy as np

import demo_shapes
from demo_shapes.head import PhantomHead, face, head_field, lone_ear_field, to_ear_frame
from mirrorprep.geometry.rigid_fit import moved
from mirrorprep.geometry.signed_distance import DistanceField
from mirrorprep.geometry.surface_points import surface_points
from mirrorprep.seating.seat import seat
from mirrorprep.solid.certify import certify
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.plane import Plane
from mirrorprep.solid.solid import Solid
from mirrorprep.symmetry.mirroring import mirror
from mirrorprep.symmetry.search import find_mirror_plane

RUNS = 3
PROUD_MM = 5.0  # over the skin, where the fillet between ear and head has ended
ON_SKIN_MM, THICKENED_MM = 0.03, 0.85
CANAL_MM, CANAL_REACH_MM = (-3.0, -2.7, 2.0), 8.0  # middle of the canal's mouth, in the ear's frame


def main(detail: str) -> None:
    """Print errors against the formulas of the missing ear, and the best of some times."""
    head = demo_shapes.phantom_head(detail)
    plane = find_mirror_plane(head.scan).plane
    times, solid = [], certify(head.scan)
    for _ in range(RUNS):
        began = time.process_time()
        seated = seat(head.scan, solid, plane)
        times.append(time.process_time() - began)
    print(f"{len(head.scan.faces)} triangles, {min(times):.2f} s of CPU (least of {RUNS})")
    mesh = seated.part.mesh
    print_errors(head, surface_points(mesh.vertices, mesh.faces, count=60_000, seed=1)[0])
    print(f"back against the skin             {seated.back.largest_error_mm:.2g} mm at most")
    ring = seated.ring
    moves = f"{ring.shift_mm:.3f} mm, {ring.turn_deg:.4f}°"
    print(f"moved to settle                   {moves}, in {ring.freedoms} of 6 freedoms")
    began = time.perf_counter()
    pieces = obvious_pieces(head, plane)
    whole = pieces[0].mesh
    print(f"obvious script: {len(pieces)} pieces, {time.perf_counter() - began:.2f} s; the largest is")
    print(f"  {whole.size_mm.max():.0f} mm long, {thin_share(whole, head):.0%} of it thinner than 0.3 mm")
    print(f"seated part: {mesh.size_mm.max():.0f} mm long, {thin_share(mesh, head):.0%} thinner than 0.3 mm")


def print_errors(head: PhantomHead, places: np.ndarray) -> None:
    """Print how far places on the part miss the mirrored head, ear and fillet, and the lone ear.

    Three places differ on purpose: the margin, thinned to its edge; the floor, never thinner than asked; and
    the membrane over the canal.
    """
    local = moved(places, np.linalg.inv(head.pose)) * [-1.0, 1.0, 1.0]
    height, error, ear = face(local), head_field(local), to_ear_frame(local)
    outside = height > ON_SKIN_MM
    made_thicker = outside & (height < THICKENED_MM)
    over_canal = outside & ~made_thicker & (np.linalg.norm(ear - CANAL_MM, axis=1) < CANAL_REACH_MM)
    rest = outside & ~made_thicker & ~over_canal
    rows = {
        "outside as the healthy side has it": rest,
        "  of it, over 5 mm off the skin": rest & (height > PROUD_MM),
        "on purpose: margin and floor": made_thicker,
        "on purpose: membrane over the canal": over_canal,
        "whole outside": outside,
    }
    for name, which in rows.items():
        size = np.abs(error[which])
        share = which.sum() / outside.sum()
        print(
            f"{name:<37} {share:4.0%}  {rms(size):.4f} mm RMS, 95 % within {np.percentile(size, 95):.3f} mm"
        )
    lone = lone_ear_field(ear[rest & (height > PROUD_MM)])
    print(f"against the lone ear, over 5 mm off the skin: {rms(lone):.4f} mm RMS")


def rms(values: np.ndarray) -> float:
    """Return the root mean square."""
    return float(np.sqrt((values**2).mean()))


def obvious_pieces(head: PhantomHead, plane: Plane) -> list[Solid]:
    """Return the mirrored head less the head, in pieces, the largest first."""
    solid = certify(head.scan)
    return (mirror(solid, plane) - solid).fragments()


def thin_share(mesh: ScanMesh, head: PhantomHead) -> float:
    """Return the share of the area off the skin that lies less than 0.3 mm over it."""
    field = DistanceField(head.scan.vertices, head.scan.faces)
    places = surface_points(mesh.vertices, mesh.faces, count=20_000, seed=2)[0]
    height = field.near(places, reach_mm=2.0).distance_mm
    outer = height > 1e-6
    return float((height[outer] < 0.3).mean())


if __name__ == "__main__":
    main(sys.argv[1] if len(sys.argv) > 1 else "full")

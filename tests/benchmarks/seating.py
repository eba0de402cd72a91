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


def main(detail: str) -> None:
    """Print errors against the formulas of the missing ear, and the best of some times."""
    head = demo_shapes.phantom_head(detail)
    plane = find_mirror_plane(head.scan).plane
    times = []
    for _ in range(RUNS):
        began = time.perf_counter()
        seated = seat(head.scan, head.scan, plane)
        times.append(time.perf_counter() - began)
    inverse = np.linalg.inv(head.pose)
    mesh = seated.part.mesh
    places = surface_points(mesh.vertices, mesh.faces, count=40_000, seed=1)[0]
    local = moved(places, inverse) * [-1.0, 1.0, 1.0]
    proud = face(local) > PROUD_MM
    ear, whole = lone_ear_field(to_ear_frame(local[proud])), head_field(local[proud])
    print(f"{len(head.scan.faces)} triangles, {min(times):.2f} s (best of {RUNS})")
    print(f"part against the missing ear      {rms(ear):.4f} mm RMS")
    print(f"part against the mirrored head    {rms(whole):.4f} mm RMS")
    print(f"back against the skin             {seated.back.largest_error_mm:.2g} mm at most")
    print(f"moved to settle                   {seated.ring.shift_mm:.3f} mm, {seated.ring.turn_deg:.4f}°")
    began = time.perf_counter()
    pieces = obvious_pieces(head, plane)
    whole = pieces[0].mesh
    print(f"obvious script: {len(pieces)} pieces, {time.perf_counter() - began:.2f} s; the largest is")
    print(f"  {whole.size_mm.max():.0f} mm long, {thin_share(whole, head):.0%} of it thinner than 0.3 mm")
    print(f"seated part: {mesh.size_mm.max():.0f} mm long, {thin_share(mesh, head):.0%} thinner than 0.3 mm")


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

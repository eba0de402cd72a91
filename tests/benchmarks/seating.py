"""How well the phantom's missing ear is seated, and in what time; run by hand.

Beside it stands the plain way: the donor's region mirrored and cut off flat, neither settled nor fitted.

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
from mirrorprep.solid.primitives import hull_solid
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
    flat = flat_back_mm(head)
    print(f"plain way, flat back against skin {rms(flat):.2f} mm RMS, {np.abs(flat).max():.2f} mm at most")


def rms(values: np.ndarray) -> float:
    """Return the root mean square."""
    return float(np.sqrt((values**2).mean()))


def flat_back_mm(head: PhantomHead) -> np.ndarray:
    """Return how far a flat cut along the ear's mean plane lies off the recipient's skin."""
    field = DistanceField(head.scan.vertices, head.scan.faces)
    ear = head.true_ear.vertices
    rim = ear[np.abs(field.at(ear, reach_mm=10.0).distance_mm) < 0.5]
    center = rim.mean(axis=0)
    normal = np.linalg.svd(rim - center)[2][2]
    outline = hull_solid(ear).mesh.vertices
    flat = outline - np.outer((outline - center) @ normal, normal)
    share = np.random.default_rng(0).dirichlet(np.ones(len(flat)) * 0.05, 2000)
    return field.at(share @ flat).distance_mm


if __name__ == "__main__":
    main(sys.argv[1] if len(sys.argv) > 1 else "full")

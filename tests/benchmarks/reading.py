"""Time and memory of reading a million triangles, beside general-purpose readers in the same run.

Run by hand::

    python tests/benchmarks/reading.py [--triangles 1000000] [--repeats 3]

Every reading happens in a fresh process; the least of the repeats counts, from the call to a welded (STL) or
indexed mesh in memory, libraries already imported. Processor time stands beside time on the clock, because
other work on the machine lengthens only the latter; ratios are of processor time. Memory is the process's
peak, imports included. The judges are trimesh (STL with its vertices merged) and VTK (whose STL reader merges
too).
"""

import argparse
import json
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

OURS = "from mirrorprep.intake.read import read_scan\ndef go(p): return len(read_scan(p, 'mm').faces)"
TRIMESH = (
    "import trimesh\n"
    "def go(p):\n"
    "    m = trimesh.load_mesh(p, process=False)\n"
    "    p.endswith('.stl') and m.merge_vertices()\n"
    "    return len(m.faces)"
)
VTK = (
    "from vtkmodules.vtkIOGeometry import vtkSTLReader, vtkOBJReader\n"
    "from vtkmodules.vtkIOPLY import vtkPLYReader\n"
    "def go(p):\n"
    "    r = {'stl': vtkSTLReader, 'obj': vtkOBJReader, 'ply': vtkPLYReader}[p[-3:]]()\n"
    "    r.SetFileName(p)\n"
    "    r.Update()\n"
    "    return r.GetOutput().GetNumberOfCells()"
)
TIMER = """
import json, sys, time
{code}
clock, start = time.perf_counter(), time.process_time()
count = go(sys.argv[1])
seconds, clock = time.process_time() - start, time.perf_counter() - clock
peak = next(int(line.split()[1]) / 1024 for line in open("/proc/self/status") if line.startswith("VmHWM"))
print(json.dumps([count, seconds, clock, peak]))
"""


def mesh(triangles):
    """Return float32 vertices and faces of a rough torus."""
    across = int(np.sqrt(triangles / 4))
    around = triangles // 2 // across
    rng = np.random.default_rng(0)
    u, v = np.meshgrid(
        np.arange(around) * 2 * np.pi / around, np.arange(across) * 2 * np.pi / across, indexing="ij"
    )
    r = 30.0 + rng.normal(scale=0.05, size=u.shape)
    points = np.stack(
        [(80 + r * np.cos(v)) * np.cos(u), (80 + r * np.cos(v)) * np.sin(u), r * np.sin(v)], axis=-1
    )
    i, j = np.arange(around)[:, None], np.arange(across)[None]
    a, b = i * across + j, (i + 1) % around * across + j
    c, d = (i + 1) % around * across + (j + 1) % across, i * across + (j + 1) % across
    faces = np.stack([np.stack([a, b, c], -1), np.stack([a, c, d], -1)], axis=2).reshape(-1, 3)
    return points.reshape(-1, 3).astype("<f4"), faces.astype("<i4")


def write_all(folder, points, faces):
    """Write the mesh in each format; return the paths."""
    records = np.zeros(len(faces), dtype=[("n", "<f4", 3), ("v", "<f4", (3, 3)), ("a", "<u2")])
    records["v"] = points[faces]
    stl = b"\0" * 80 + np.uint32(len(faces)).tobytes() + records.tobytes()
    rows = np.zeros(len(faces), dtype=[("n", "u1"), ("v", "<i4", 3)])
    rows["n"], rows["v"] = 3, faces
    header = (
        "ply\nformat {} 1.0\n"
        f"element vertex {len(points)}\nproperty float x\nproperty float y\nproperty float z\n"
        f"element face {len(faces)}\nproperty list uchar int vertex_indices\nend_header\n"
    )
    places = "\n".join(f"{x:.6f} {y:.6f} {z:.6f}" for x, y, z in points.tolist())
    corner = [f"vertex {x:.6e} {y:.6e} {z:.6e}\n" for x, y, z in points.tolist()]
    facet = "facet normal 1.000000e+00 0.000000e+00 0.000000e+00\nouter loop\n%s%s%sendloop\nendfacet\n"
    files = {
        "binary.stl": stl,
        "binary.ply": header.format("binary_little_endian").encode() + points.tobytes() + rows.tobytes(),
        "ascii.ply": (
            header.format("ascii")
            + places
            + "\n"
            + "\n".join(f"3 {a} {b} {c}" for a, b, c in faces.tolist())
            + "\n"
        ).encode(),
        "plain.obj": (
            "v "
            + places.replace("\n", "\nv ")
            + "\n"
            + "\n".join(f"f {a} {b} {c}" for a, b, c in (faces + 1).tolist())
        ).encode(),
        "ascii.stl": (
            "solid a\n"
            + "".join(facet % tuple(corner[k] for k in f) for f in faces.tolist())
            + "endsolid a\n"
        ).encode(),
    }
    for name, data in files.items():
        Path(folder, name).write_bytes(data)
    return [Path(folder, name) for name in files]


def measure(code, path, repeats):
    """Return triangles, least processor and clock seconds, and peak MiB of reading in fresh processes."""
    command = [sys.executable, "-c", TIMER.format(code=code), str(path)]
    runs = [
        json.loads(subprocess.run(command, capture_output=True, check=True).stdout) for _ in range(repeats)
    ]
    return runs[0][0], min(run[1] for run in runs), min(run[2] for run in runs), max(run[3] for run in runs)


def main():
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--triangles", type=int, default=1_000_000)
    parser.add_argument("--repeats", type=int, default=3)
    options = parser.parse_args()
    points, faces = mesh(options.triangles)
    print("file        size  | mirrorprep: processor, clock, memory | trimesh, ratio | VTK, ratio")
    with tempfile.TemporaryDirectory() as folder:
        for path in write_all(folder, points, faces):
            count, seconds, clock, peak = measure(OURS, path, options.repeats)
            line = f"{path.name:10} {path.stat().st_size / 1e6:4.0f} MB"
            line += f" | {seconds:5.2f} s {clock:5.2f} s {peak:4.0f} MiB"
            for judge in (TRIMESH, VTK):
                other, longer, waited, more = measure(judge, path, options.repeats)
                agrees = "" if other == count == len(faces) else f" ({other} triangles!)"
                line += f" | {longer:5.2f} s {waited:5.2f} s {more:4.0f} MiB ×{longer / seconds:.2f}{agrees}"
            print(line)


if __name__ == "__main__":
    main()

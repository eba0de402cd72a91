"""Time and memory that hostile files of tens of megabytes take, each in a fresh process.

Run by hand::

    python tests/benchmarks/reading_hostile.py

The fuzz campaign damages small files; here are large ones that aim at a reader's weak places: repeated parts,
polygons that no fan covers, tables of uneven rows, endless lines, empty lines, bombs.
"""

import importlib.util
import json
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

RUN = """
import json, sys, time, warnings
warnings.simplefilter("error")
from mirrorprep.errors import MirrorPrepError
from mirrorprep.intake.read import read_scan
start = time.process_time()
try:
    mesh = read_scan(sys.argv[1])
    ending = f"{len(mesh.faces)} triangles {[f.code for f in mesh.origin.findings]}"
except MirrorPrepError as error:
    ending = error.message
seconds = time.process_time() - start
peak = next(int(line.split()[1]) / 1024 for line in open("/proc/self/status") if line.startswith("VmHWM"))
print(json.dumps([seconds, peak, ending]))
"""


def star(corners):
    """Return OBJ lines of a star with that many corners."""
    angles = np.arange(corners) * 2 * np.pi / corners
    radii = np.where(np.arange(corners) % 2, 1.0, 3.0)
    return "".join(
        f"v {x:.9g} {y:.9g} 0\n" for x, y in zip(radii * np.cos(angles), radii * np.sin(angles), strict=True)
    )


def texts():
    """Return hostile text files by name."""
    ring = " ".join(str(k) for k in range(1, 41))
    yield "stars.obj", (star(40) + f"f {ring}\n" * 30_000).encode()
    yield "corners.obj", (star(100_000) + "f " + " ".join(str(k) for k in range(1, 100_001)) + "\n").encode()
    yield "vertices.obj", b"v 0 0 0\nv 1 0 0\n" * 5_000_000 + b"f 1 2 3\n"
    yield "newlines.obj", b"v 0 0 0\n" + b"\n" * 100_000_000
    yield "comments.obj", b"v 0 0 0\n" + b"#\n" * 30_000_000
    yield "facets.stl", b"solid x\n" + b"facet\n" * 20_000_000
    yield "line.stl", b"solid x " + b"y" * 200_000_000
    yield "numbers.off", b"OFF\n3 1 0\n" + b"1 " * 20_000_000


def binaries(samples):
    """Return hostile binary files by name."""
    header = samples.ply(np.eye(3, dtype=np.float32), [], index="i4")
    header = header.replace(b"face 0", b"face 20000000").replace(b"uchar int", b"uchar uchar")
    yield "uneven.ply", header + b"\x00\x01\x00" * 10_000_000
    yield "zeros.ply", header + b"\x00" * 20_000_000
    points, faces = samples.torus(500, 200)
    mesh = f'<object id="1">{samples.mesh_xml(points, faces)}</object>'
    repeated = samples.model_xml(mesh, '<item objectid="1"/>' * 99)
    yield "repeated.3mf", samples.package({"3D/3dmodel.model": repeated})
    bomb = samples.model_xml("<a/>" * 20_000_000, "")
    yield "bomb.3mf", samples.package({"3D/3dmodel.model": bomb})
    writer = samples.GlbWriter()
    indices = writer.accessor(faces.astype("<u4").ravel())
    index = writer.mesh({"attributes": {"POSITION": writer.accessor(points)}, "indices": indices})
    for _ in range(99):
        writer.node(mesh=index)
    yield "repeated.glb", writer.bytes()
    yield "lists.glb", samples.glb_container(b'{"asset":[' + b"[]," * 5_500_000 + b"[]]}", b"")


def main():
    """Print the table."""
    path = Path(__file__).parents[1] / "intake" / "samples.py"
    spec = importlib.util.spec_from_file_location("samples", path)
    samples = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(samples)
    with tempfile.TemporaryDirectory() as folder:
        for files in (texts(), binaries(samples)):
            for name, data in files:
                place = Path(folder, name)
                place.write_bytes(data)
                command = [sys.executable, "-c", RUN, str(place)]
                seconds, peak, ending = json.loads(
                    subprocess.run(command, capture_output=True, check=True).stdout
                )
                print(f"{name:14} {len(data) / 1e6:5.1f} MB {seconds:5.2f} s {peak:5.0f} MiB  {ending[:90]}")
                place.unlink()


if __name__ == "__main__":
    main()

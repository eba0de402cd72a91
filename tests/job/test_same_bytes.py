"""One job in two processes and folders: the same bytes; and no name inside a scan reaches any of them."""

import json
import os
import shutil
import struct
import subprocess
import sys
import zipfile
import zlib

import numpy as np
import pytest

from mirrorprep.handover.files import write_ply
from mirrorprep.job.run import run_job
from mirrorprep.solid.primitives import sphere

INSIDE = "Jane-Doe-1970-03-04"

JOB = """
[job]
code = "B-1"
purpose = "teaching"
human_data = false
[scan]
file = "{scan}"
units = "mm"
accuracy_mm = 0.1
{mould}
"""


def pear():
    body = sphere(15.0, segments=32).transformed(np.diag([1.0, 0.8, 0.7, 1.0]))
    return (body + sphere(8.0, center_mm=[13, 0, 5], segments=32)).mesh


def run_apart(folder, seed):
    """Run the job of a folder in a process of its own."""
    command = [sys.executable, "-m", "mirrorprep", "run", "job.toml", "--lesson"]
    environment = {**os.environ, "PYTHONHASHSEED": seed}
    done = subprocess.run(command, cwd=folder, env=environment, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return {path.name: path.read_bytes() for path in (folder / "handover").iterdir()}


def test_two_processes_and_folders_write_the_same_bytes(tmp_path):
    found = []
    for name, seed in (("one", "1"), ("another folder", "4242")):
        folder = tmp_path / name
        folder.mkdir()
        write_ply(pear(), folder / f"scan of {name}.ply")
        (folder / "job.toml").write_text(
            JOB.format(scan=f"scan of {name}.ply", mould="[mould]\nbody = 'block'"), encoding="utf-8"
        )
        found.append(run_apart(folder, seed))
    first, second = found
    assert {"traveller.html", "traveller.pdf", "mould.3mf", "lesson.html"} <= set(first)
    assert [name for name in first if first[name] != second.get(name)] == []
    assert set(first) == set(second)


def ply(mesh):
    head = (
        f"ply\nformat ascii 1.0\ncomment {INSIDE}\nobj_info {INSIDE}\nelement vertex {len(mesh.vertices)}\n"
    )
    head += "property double x\nproperty double y\nproperty double z\n"
    head += f"element face {len(mesh.faces)}\nproperty list uchar int vertex_indices\nend_header\n"
    rows = [" ".join(map(repr, row)) for row in mesh.vertices.tolist()]
    rows += [f"3 {a} {b} {c}" for a, b, c in mesh.faces.tolist()]
    return (head + "\n".join(rows) + "\n").encode()


def obj(mesh):
    head = f"# {INSIDE}\nmtllib {INSIDE}.mtl\no {INSIDE}\ng {INSIDE}\nusemtl {INSIDE}\n"
    rows = [f"v {x!r} {y!r} {z!r}" for x, y, z in mesh.vertices.tolist()]
    rows += [f"f {a} {b} {c}" for a, b, c in (mesh.faces + 1).tolist()]
    return (head + "\n".join(rows) + "\n").encode()


def glb(mesh):
    points, corners = mesh.vertices.astype("<f4").tobytes(), mesh.faces.astype("<u4").tobytes()
    low, high = (getattr(mesh.vertices.astype("<f4"), side)(axis=0).tolist() for side in ("min", "max"))
    count = {"vertices": len(mesh.vertices), "corners": 3 * len(mesh.faces)}
    data = {
        "asset": {"version": "2.0", "generator": INSIDE, "copyright": INSIDE, "extras": {"patient": INSIDE}},
        "scenes": [{"name": INSIDE, "nodes": [0]}],
        "scene": 0,
        "nodes": [{"name": INSIDE, "mesh": 0}],
        "meshes": [{"name": INSIDE, "primitives": [{"attributes": {"POSITION": 0}, "indices": 1}]}],
        "images": [{"name": INSIDE, "uri": f"data:image/png;base64,{INSIDE}"}],
        "buffers": [{"byteLength": len(points) + len(corners), "name": INSIDE}],
        "bufferViews": [
            {"buffer": 0, "byteOffset": 0, "byteLength": len(points)},
            {"buffer": 0, "byteOffset": len(points), "byteLength": len(corners)},
        ],
        "accessors": [
            {"bufferView": 0, "componentType": 5126, "count": count["vertices"], "type": "VEC3"}
            | {"min": low, "max": high},
            {"bufferView": 1, "componentType": 5125, "count": count["corners"], "type": "SCALAR"},
        ],
    }
    text = json.dumps(data).encode()
    text += b" " * (-len(text) % 4)
    binary = points + corners
    chunks = struct.pack("<I4s", len(text), b"JSON") + text
    chunks += struct.pack("<I4s", len(binary), b"BIN\0") + binary
    return struct.pack("<4sII", b"glTF", 2, 12 + len(chunks)) + chunks


def threemf(mesh):
    core = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
    rows = [f'<vertex x="{x!r}" y="{y!r}" z="{z!r}"/>' for x, y, z in mesh.vertices.tolist()]
    faces = [f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in mesh.faces.tolist()]
    model = (
        f'<?xml version="1.0"?><!-- {INSIDE} --><model unit="millimeter" xmlns="{core}">'
        f'<metadata name="Designer">{INSIDE}</metadata><metadata name="Title">{INSIDE}</metadata>'
        f'<resources><object id="1" type="model" name="{INSIDE}" partnumber="{INSIDE}"><mesh><vertices>'
        f"{''.join(rows)}</vertices><triangles>{''.join(faces)}</triangles></mesh></object></resources>"
        '<build><item objectid="1"/></build></model>'
    )
    relation = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
    return model, (
        '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
        f'<Relationship Target="/3D/3dmodel.model" Id="r" Type="{relation}"/></Relationships>'
    )


def write_scan(kind, path):
    if kind != "3mf":
        path.write_bytes({"ply": ply, "obj": obj, "glb": glb}[kind](pear()))
        return
    model, relations = threemf(pear())
    types = (
        '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
        '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        '<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/>'
        "</Types>"
    )
    with zipfile.ZipFile(path, "w") as package:
        package.writestr("[Content_Types].xml", types)
        package.writestr("_rels/.rels", relations)
        package.writestr("3D/3dmodel.model", model)
        package.writestr(f"Metadata/{INSIDE}.png", INSIDE)


def unfolded(path):
    """Return everything that a file says, what is packed in it too."""
    data = path.read_bytes()
    if path.suffix == ".3mf":
        with zipfile.ZipFile(path) as package:
            return b"".join(name.encode() + package.read(name) for name in package.namelist())
    if path.suffix == ".pdf":
        for piece in data.split(b"stream\n")[1:]:
            try:
                data += zlib.decompressobj().decompress(piece)
            except zlib.error:
                continue
    return data


@pytest.mark.parametrize("kind", ["ply", "obj", "glb", "3mf"])
def test_no_name_inside_a_scan_reaches_an_output(kind, tmp_path):
    scan = tmp_path / f"{INSIDE}.{kind}"
    write_scan(kind, scan)
    if kind == "obj":
        (tmp_path / f"{INSIDE}.mtl").write_text(f"newmtl {INSIDE}\nmap_Kd {INSIDE}.jpg\n")
    text = JOB.format(scan=scan.name, mould="[mould]\nbuild = false")
    text = text.replace('units = "mm"', 'units = "m"') if kind == "glb" else text
    (tmp_path / "job.toml").write_text(text, encoding="utf-8")
    run_job(tmp_path / "job.toml", lesson=True)
    outputs = list((tmp_path / "handover").iterdir())
    assert len(outputs) >= 6
    for path in outputs:
        told = unfolded(path).lower()
        for name in ("jane-doe", "1970-03-04"):  # shorter ones may stand in a digest by chance
            assert name.encode() not in told, (path.name, name)


def test_the_search_above_finds_a_name_where_there_is_one(tmp_path):
    write_scan("3mf", tmp_path / "named.3mf")
    shutil.copy(tmp_path / "named.3mf", tmp_path / "copy.3mf")
    assert INSIDE.encode() in unfolded(tmp_path / "copy.3mf")

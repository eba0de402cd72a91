"""Small files of every format and encoding, written from scratch for the tests and the fuzz campaign."""

import io
import json
import struct
import zipfile

import numpy as np

CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
PRODUCTION = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06"
ROOT = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"


def torus(around=12, across=8, *, dtype=np.float32):
    """Return vertices and faces of a closed torus with irregular positions (genus 1, 2·around·across)."""
    rng = np.random.default_rng(4)
    u, v = np.meshgrid(
        np.arange(around) * 2 * np.pi / around, np.arange(across) * 2 * np.pi / across, indexing="ij"
    )
    r = 5.0 + rng.normal(scale=0.2, size=u.shape)
    points = np.stack(
        [(20 + r * np.cos(v)) * np.cos(u), (20 + r * np.cos(v)) * np.sin(u), r * np.sin(v)], axis=-1
    )
    i, j = np.arange(around)[:, None], np.arange(across)[None]
    a, b = i * across + j, (i + 1) % around * across + j
    c, d = (i + 1) % around * across + (j + 1) % across, i * across + (j + 1) % across
    faces = np.stack([np.stack([a, b, c], -1), np.stack([a, c, d], -1)], axis=2).reshape(-1, 3)
    return points.reshape(-1, 3).astype(dtype), faces


def quads(around=12, across=8):
    """Return the four corners of each cell of the torus."""
    _, faces = torus(around, across)
    return np.stack([faces[::2, 0], faces[::2, 1], faces[::2, 2], faces[1::2, 2]], axis=1)


def stl_binary(points, faces, *, header=b"", attribute=0, count=None):
    records = np.zeros(len(faces), dtype=[("n", "<f4", 3), ("v", "<f4", (3, 3)), ("a", "<u2")])
    records["v"] = points[faces]
    records["a"] = attribute
    count = len(faces) if count is None else count
    return header.ljust(80, b"\0")[:80] + struct.pack("<I", count) + records.tobytes()


def stl_ascii(points, faces, *, name="part", end="\n", upper=False):
    lines = [f"solid {name}"]
    for triangle in points[faces]:
        lines.append("  facet normal 0 0 1")
        lines.append("    outer loop")
        lines.extend("      vertex " + " ".join(repr(float(x)) for x in corner) for corner in triangle)
        lines.append("    endloop")
        lines.append("  endfacet")
    lines.append(f"endsolid {name}")
    text = end.join(lines) + end
    return (text.upper() if upper else text).encode()


_PLY_TYPES = {"f4": "float", "f8": "double", "u1": "uchar", "i4": "int", "u2": "ushort", "i1": "char"}


def ply(
    points,
    polygons,
    *,
    encoding="binary_little_endian",
    kind="f4",
    count="u1",
    index="i4",
    colors=None,
    extra=False,
    strips=False,
    end="\n",
):
    """Write polygons (a list of index lists), or one strip list per row when `strips`."""
    order = {"ascii": None, "binary_little_endian": "<", "binary_big_endian": ">"}[encoding]
    names = [(axis, kind) for axis in "xyz"]
    columns = [points[:, k] for k in range(3)]
    if extra:
        names.insert(2, ("quality", "f8"))
        columns.insert(2, np.arange(len(points)) / 7)
    if colors is not None:
        names += [(name, "u1") for name in ("red", "green", "blue", "alpha")]
        columns += [colors[:, k] for k in range(4)]
    element = "tristrips" if strips else "face"
    header = ["ply", f"format {encoding} 1.0", "comment a test", f"element vertex {len(points)}"]
    header += [f"property {_PLY_TYPES[item]} {name}" for name, item in names]
    header += [f"element {element} {len(polygons)}"]
    if extra:
        header += ["property uchar flags"]
    header += [f"property list {_PLY_TYPES[count]} {_PLY_TYPES[index]} vertex_indices", "end_header"]
    out = (end.join(header) + end).encode()
    if order is None:
        rows = [
            " ".join(repr(np.dtype(item).type(x).item()) for (_, item), x in zip(names, row, strict=True))
            for row in zip(*columns, strict=True)
        ]
        rows += [
            " ".join(map(str, [*([7] if extra else []), len(p), *(int(x) for x in p)])) for p in polygons
        ]
        return out + (end.join(rows) + end).encode()
    table = np.zeros(len(points), dtype=[(name, order + item) for name, item in names])
    for (name, _), column in zip(names, columns, strict=True):
        table[name] = column
    body = [table.tobytes()]
    for p in polygons:
        body.append(b"\x07" if extra else b"")
        body.append(np.array(len(p), order + count).tobytes() + np.array(p, order + index).tobytes())
    return out + b"".join(body)


def obj(points, polygons, *, relative=False, colors=None, texture=False, end="\n", head="# test\n"):
    lines = []
    for k, p in enumerate(points):
        shade = "" if colors is None else " " + " ".join(repr(float(c) / 255) for c in colors[k, :3])
        lines.append("v " + " ".join(repr(float(x)) for x in p) + shade)
        if texture:
            lines.append("vt 0.5 0.5")
    for p in polygons:
        corners = [int(x) - len(points) if relative else int(x) + 1 for x in p]
        lines.append("f " + " ".join(f"{c}/{c}/" if texture else str(c) for c in corners))
    return (head.replace("\n", end) + end.join(lines) + end).encode()


def off(points, polygons, *, word="OFF", colors=None, face_colors=False, end="\n"):
    lines = [word, f"{len(points)} {len(polygons)} 0"]
    for k, p in enumerate(points):
        shade = "" if colors is None else " " + " ".join(repr(float(c) / 255) for c in colors[k])
        lines.append(" ".join(repr(float(x)) for x in p) + shade)
    lines += [
        f"{len(p)} " + " ".join(str(int(x)) for x in p) + (" 0.1 0.2 0.3" if face_colors else "")
        for p in polygons
    ]
    return (end.join(lines) + end).encode()


def off_binary(points, polygons):
    body = [np.array([len(points), len(polygons), 0], ">i4").tobytes(), points.astype(">f4").tobytes()]
    body += [np.array([len(p), *p, 0], ">i4").tobytes() for p in polygons]
    return b"OFF BINARY\n" + b"".join(body)


class GlbWriter:
    """Collects accessors and writes a GLB file."""

    def __init__(self):
        self.binary = b""
        self.document = {
            "asset": {"version": "2.0"},
            "bufferViews": [],
            "accessors": [],
            "meshes": [],
            "nodes": [],
        }

    def view(self, data, **more):
        self.binary += b"\0" * (-len(self.binary) % 4)
        entry = {"buffer": 0, "byteOffset": len(self.binary), "byteLength": len(data), **more}
        self.document["bufferViews"].append(entry)
        self.binary += data
        return len(self.document["bufferViews"]) - 1

    def accessor(self, array, **more):
        array = np.asarray(array)
        component = {"f4": 5126, "u1": 5121, "u2": 5123, "u4": 5125, "i1": 5120, "i2": 5122}[
            array.dtype.str[1:]
        ]
        width = 1 if array.ndim == 1 else array.shape[1]
        entry = {
            "bufferView": self.view(array.tobytes()),
            "componentType": component,
            "count": len(array),
            "type": {1: "SCALAR", 2: "VEC2", 3: "VEC3", 4: "VEC4"}[width],
            **more,
        }
        self.document["accessors"].append(entry)
        return len(self.document["accessors"]) - 1

    def mesh(self, *primitives):
        self.document["meshes"].append({"primitives": list(primitives)})
        return len(self.document["meshes"]) - 1

    def node(self, **entries):
        self.document["nodes"].append(entries)
        return len(self.document["nodes"]) - 1

    def bytes(self):
        self.document.setdefault("buffers", [{"byteLength": len(self.binary)}])
        return glb_container(self.document, self.binary)


def glb_container(document, binary, *, version=2):
    text = document if isinstance(document, bytes) else json.dumps(document).encode()
    text += b" " * (-len(text) % 4)
    binary += b"\0" * (-len(binary) % 4)
    body = (
        struct.pack("<I4s", len(text), b"JSON") + text + struct.pack("<I4s", len(binary), b"BIN\0") + binary
    )
    return struct.pack("<4sII", b"glTF", version, 12 + len(body)) + body


def glb(points, faces, *, colors=None, **node):
    writer = GlbWriter()
    attributes = {"POSITION": writer.accessor(points.astype("<f4"))}
    if colors is not None:
        attributes["COLOR_0"] = writer.accessor(colors.astype("u1"), normalized=True)
    indices = writer.accessor(np.asarray(faces, "<u2").ravel())
    writer.node(mesh=writer.mesh({"attributes": attributes, "indices": indices}), **node)
    writer.document.update(scenes=[{"nodes": [0]}], scene=0)
    return writer.bytes()


def mesh_xml(points, faces):
    rows = "".join(f'<vertex x="{float(x)!r}" y="{float(y)!r}" z="{float(z)!r}"/>' for x, y, z in points)
    cells = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in faces)
    return f"<mesh><vertices>{rows}</vertices><triangles>{cells}</triangles></mesh>"


def model_xml(resources, build, *, unit="millimeter", attributes=""):
    stated = f' unit="{unit}"' if unit else ""
    return (
        f'<?xml version="1.0" encoding="UTF-8"?>\n<model{stated} xmlns="{CORE}" xmlns:p="{PRODUCTION}" '
        f"{attributes}><resources>{resources}</resources><build>{build}</build></model>"
    )


def package(models, *, root="3D/3dmodel.model", compression=zipfile.ZIP_DEFLATED):
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", compression) as archive:
        archive.writestr("[Content_Types].xml", "<Types/>")
        relation = f'<Relationship Target="/{root}" Id="r" Type="{ROOT}"/>'
        archive.writestr(
            "_rels/.rels",
            '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
            f"{relation}</Relationships>",
        )
        for name, text in models.items():
            archive.writestr(name, text)
    return stream.getvalue()


def threemf(points, faces, *, unit="millimeter", transform=""):
    placed = f' transform="{transform}"' if transform else ""
    resources = f'<object id="1" type="model">{mesh_xml(points, faces)}</object>'
    return package({"3D/3dmodel.model": model_xml(resources, f'<item objectid="1"{placed}/>', unit=unit)})


def every_format():
    """Return a small valid file of each format and encoding, by a name with its extension."""
    points, faces = torus(5, 4)
    colors = np.tile(np.array([[200, 100, 50, 255]], dtype=np.uint8), (len(points), 1))
    cells = quads(5, 4)
    strip = [[0, 1, 2, 3, -1, 4, 5, 6]]
    return {
        "binary.stl": stl_binary(points, faces),
        "solid.stl": stl_binary(points, faces, header=b"solid made of bytes"),
        "ascii.stl": stl_ascii(points, faces),
        "two.stl": stl_ascii(points, faces[:9]) + stl_ascii(points, faces[9:], name="other"),
        "ascii.ply": ply(points, faces, encoding="ascii"),
        "little.ply": ply(points, faces, colors=colors),
        "big.ply": ply(points, faces, encoding="binary_big_endian", extra=True),
        "mixed.ply": ply(points, [*cells[:6], *faces[12:]], count="i4"),
        "mixed_ascii.ply": ply(points, [*cells[:6], *faces[12:]], encoding="ascii", extra=True),
        "strips.ply": ply(points, strip, strips=True),
        "plain.obj": obj(points, faces),
        "rich.obj": obj(points, cells, relative=True, colors=colors, texture=True, end="\r\n"),
        "wide.obj": obj(points, cells).decode().encode("utf-16"),
        "plain.off": off(points, faces),
        "color.off": off(points, cells, word="COFF", colors=colors, face_colors=True),
        "binary.off": off_binary(points, faces),
        "plain.glb": glb(points, faces),
        "moved.glb": glb(points, faces, colors=colors, translation=[1, 2, 3], scale=[-1, 2, 1]),
        "plain.3mf": threemf(points, faces),
        "inch.3mf": threemf(points, faces, unit="inch", transform="-1 0 0 0 1 0 0 0 1 5 0 0"),
    }

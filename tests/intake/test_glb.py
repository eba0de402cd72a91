"""GLB: metres, y up, node transforms, strips and fans, and damage (glTF 2.0 specification)."""

import struct

import numpy as np
import pytest

from mirrorprep.errors import InputFileError
from mirrorprep.geometry.mass_properties import signed_volume_mm3


def turned(points):
    """Return metres with y up as millimetres with z up."""
    x, y, z = points.astype(np.float64).T
    return np.column_stack([x, -z, y]) * 1000.0


def test_metres_and_up_axis_of_the_format(samples, read, codes):
    points, faces = samples.torus()
    mesh = read(samples.glb(points, faces), "a.glb", units=None)
    assert mesh.origin.units == "m"
    assert codes(mesh) == ["axes-turned"]
    np.testing.assert_array_equal(mesh.vertices, turned(points))
    np.testing.assert_array_equal(mesh.faces, faces)


def test_other_unit_wins_with_a_caution(samples, read, codes):
    mesh = read(samples.glb(*samples.torus()), "a.glb", units="mm")
    assert "unit-contradicts-file" in codes(mesh)
    assert mesh.size_mm.max() < 60


def test_mirroring_transform_keeps_the_sign_of_the_volume(samples, read):
    points, faces = samples.torus()
    plain = read(samples.glb(points, faces), "a.glb", "m")
    mirrored = read(samples.glb(points, faces, scale=[-1, 2, 1]), "b.glb", "m")
    before, after = (signed_volume_mm3(m.vertices, m.faces) for m in (plain, mirrored))
    assert after == pytest.approx(2 * before, rel=1e-12)


def test_nested_transforms(samples, read):
    """Column-major matrix of a parent, then translation · rotation · scale of its child."""
    points, faces = samples.torus()
    writer = samples.GlbWriter()
    primitive = {
        "attributes": {"POSITION": writer.accessor(points)},
        "indices": writer.accessor(faces.astype("<u4").ravel()),
    }
    half = np.sqrt(0.5)
    child = writer.node(
        mesh=writer.mesh(primitive), translation=[1, 2, 3], rotation=[0, 0, half, half], scale=[2, 2, 2]
    )
    shear = np.eye(4)
    shear[0, 1] = 0.5
    shear[:3, 3] = 10, 20, 30
    root = writer.node(children=[child], matrix=shear.T.ravel().tolist())
    writer.document["scenes"] = [{"nodes": []}, {"nodes": [root]}]
    writer.document["scene"] = 1
    mesh = read(writer.bytes(), "a.glb", "m")
    quarter = np.column_stack([-points[:, 1], points[:, 0], points[:, 2]]).astype(np.float64)
    placed = (quarter * 2 + [1, 2, 3]) @ shear[:3, :3].T + [10, 20, 30]
    np.testing.assert_allclose(mesh.vertices, turned(placed), rtol=1e-12, atol=1e-9)


def test_agrees_with_trimesh(samples, read, tmp_path):
    """Judge: trimesh's GLB reader, which applies transforms but neither unit nor axis."""
    trimesh = pytest.importorskip("trimesh")
    points, faces = samples.torus()
    mesh = read(
        samples.glb(points, faces, translation=[1, 2, 3], rotation=[0.5, 0.5, 0.5, 0.5]), "a.glb", "m"
    )
    judge = trimesh.load_scene(tmp_path / "a.glb", process=False).to_mesh()
    np.testing.assert_allclose(mesh.vertices, turned(judge.vertices), rtol=1e-6, atol=1e-3)
    np.testing.assert_array_equal(mesh.faces, judge.faces)


def test_several_nodes_are_one_mesh_with_a_note(samples, read, codes):
    points, faces = samples.torus()
    writer = samples.GlbWriter()
    shared = {"POSITION": writer.accessor(points)}
    first = {"attributes": shared, "indices": writer.accessor(faces[:90].astype("<u2").ravel())}
    second = {"attributes": shared, "indices": writer.accessor(faces[90:].astype("u1").ravel())}
    mesh_index = writer.mesh(first, second)
    writer.node(mesh=mesh_index)
    writer.node(mesh=mesh_index, translation=[100, 0, 0])
    mesh = read(writer.bytes(), "a.glb", "m")
    assert "several-objects" in codes(mesh)
    assert len(mesh.vertices) == 2 * len(points)  # primitives of one mesh share their vertices
    assert len(mesh.faces) == 2 * len(faces)


@pytest.mark.parametrize(("mode", "expected"), [(5, [[0, 1, 2], [2, 1, 3]]), (6, [[0, 1, 2], [0, 2, 3]])])
@pytest.mark.parametrize("indexed", [False, True])
def test_strips_and_fans(samples, read, mode, expected, indexed):
    writer = samples.GlbWriter()
    square = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [1, 1, 0]], dtype="<f4")
    primitive = {"attributes": {"POSITION": writer.accessor(square)}, "mode": mode}
    if indexed:
        primitive["indices"] = writer.accessor(np.arange(4, dtype="u1"))
    writer.node(mesh=writer.mesh(primitive))
    assert read(writer.bytes(), "a.glb", "m").faces.tolist() == expected


def test_colors_of_some_parts(samples, read):
    points, faces = samples.torus()
    writer = samples.GlbWriter()
    indices = writer.accessor(faces.astype("<u2").ravel())
    position = writer.accessor(points)
    shade = np.tile(np.array([[0.0, 0.5, 1.0]], dtype="<f4"), (len(points), 1))
    colored = {"attributes": {"POSITION": position, "COLOR_0": writer.accessor(shade)}, "indices": indices}
    writer.node(mesh=writer.mesh(colored))
    writer.node(mesh=writer.mesh({"attributes": {"POSITION": position}, "indices": indices}))
    colors = read(writer.bytes(), "a.glb", "m").colors
    assert colors[0].tolist() == [0, 128, 255, 255]
    assert colors[-1].tolist() == [255, 255, 255, 255]


def test_soup_is_noted_and_welds_on_request(samples, read, codes):
    points, faces = samples.torus()
    writer = samples.GlbWriter()
    writer.node(mesh=writer.mesh({"attributes": {"POSITION": writer.accessor(points[faces].reshape(-1, 3))}}))
    mesh = read(writer.bytes(), "a.glb", "m")
    assert len(mesh.vertices) == 3 * len(faces)
    soup = next(f for f in mesh.origin.findings if f.code == "shared-places")
    assert soup.message.startswith("No two triangles")
    welded = read(writer.bytes(), "a.glb", "m", weld_mm=0.0)
    assert len(welded.vertices) == len(points)
    assert codes(welded)[-1] == "welded"


def edited(samples, change):
    writer = samples.GlbWriter()
    points, faces = samples.torus()
    primitive = {
        "attributes": {"POSITION": writer.accessor(points)},
        "indices": writer.accessor(faces.astype("<u2").ravel()),
    }
    writer.node(mesh=writer.mesh(primitive))
    change(writer.document)
    return writer.bytes()


EDITS = {
    "external buffer": (lambda d: d.update(buffers=[{"byteLength": 9, "uri": "a.bin"}]), "separate file"),
    "bad base64": (
        lambda d: d.update(buffers=[{"byteLength": 9, "uri": "data:;base64,?"}]),
        "not valid base64",
    ),
    "second buffer": (lambda d: d["bufferViews"][0].update(buffer=1), "number 1 of its buffers, but holds 1"),
    "compressed": (
        lambda d: d.update(extensionsRequired=["KHR_draco_mesh_compression"]),
        "needs the extension",
    ),
    "absurd count": (lambda d: d["accessors"][0].update(count=2**31), "2147483648 elements"),
    "count beyond view": (lambda d: d["accessors"][0].update(count=97), "cut short or damaged"),
    "negative offset": (lambda d: d["bufferViews"][0].update(byteOffset=-4), "'-4' for byteOffset"),
    "not a number": (lambda d: d["accessors"][0].update(count="many"), "'many' for the count"),
    "true is no number": (lambda d: d["accessors"][0].update(count=True), "'True' for the count"),
    "wrong type": (lambda d: d["accessors"][0].update(type="MAT4"), "type 'MAT4'"),
    "wrong component": (lambda d: d["accessors"][0].update(componentType=1), "component type 1"),
    "float indices": (lambda d: d["accessors"][1].update(componentType=5126, count=96), "not unsigned"),
    "odd corners": (lambda d: d["accessors"][1].update(count=575), "575 triangle corners"),
    "missing accessor": (lambda d: d["accessors"].pop(), "number 1 of its accessors, but holds 1"),
    "loop": (lambda d: d["nodes"].append({"children": [1]}) or d.update(scenes=[{"nodes": [1]}]), "loop"),
    "shared child": (
        lambda d: d["nodes"].append({"children": [0]}) or d.update(scenes=[{"nodes": [0, 1]}]),
        "loop",
    ),
    "flat quaternion": (lambda d: d["nodes"][0].update(rotation=[0, 0, 0, 0]), "not a quaternion"),
    "short matrix": (lambda d: d["nodes"][0].update(matrix=[1, 0]), "16 finite numbers"),
    "word for scale": (lambda d: d["nodes"][0].update(scale="big"), "not a list of numbers"),
    "infinite move": (lambda d: d["nodes"][0].update(translation=[1e999, 0, 0]), "12 finite numbers"),
    "points": (lambda d: d["meshes"][0]["primitives"][0].update(mode=0), "96 points but no triangles"),
    "lines": (lambda d: d["meshes"][0]["primitives"][0].update(mode=1), "48 lines but no triangles"),
    "no meshes": (lambda d: d["nodes"].clear(), "no triangles"),
    "no attributes": (lambda d: d["meshes"][0]["primitives"][0].pop("attributes"), "without attributes"),
    "nodes no list": (lambda d: d.update(nodes={}), "'nodes' is not a list"),
    "flattened": (lambda d: d["nodes"][0].update(scale=[1, 0, 1]), "no triangles"),
}


@pytest.mark.parametrize("case", EDITS)
def test_refused_documents(samples, read, case):
    change, words = EDITS[case]
    with pytest.raises(InputFileError, match=words):
        read(edited(samples, change), "a.glb")


def test_deep_nodes_are_refused(samples, read):
    def nest(document):
        document["nodes"] = [{"children": [k + 1]} for k in range(200)] + [{"mesh": 0}]

    with pytest.raises(InputFileError, match="nested too deeply"):
        read(edited(samples, nest), "a.glb")


def test_repeated_meshes_are_limited_before_they_unfold(samples, read, monkeypatch):
    monkeypatch.setattr("mirrorprep.intake.raw.MAX_TRIANGLES", 1000)
    with pytest.raises(InputFileError, match=r"unfolds to 1152 triangles \(limit 1000\)"):
        read(edited(samples, lambda d: d.update(nodes=[{"mesh": 0}] * 90)), "a.glb")


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda data: data[:-100], "states a length of"),
        (lambda data: data[:4] + struct.pack("<I", 1) + data[8:], "version 1"),
        (lambda data: data[:12] + struct.pack("<I", 2**31) + data[16:], "does not fit into the file"),
        (lambda data: data[:20] + b"[" * 50 + data[70:], "not valid JSON"),
        (lambda data: data[:16] + b"BOSN" + data[20:], "not valid JSON"),
        (lambda data: data[:20] + b"7".ljust(int.from_bytes(data[12:16], "little")) + b"", "states a length"),
    ],
)
def test_refused_containers(samples, read, change, words):
    with pytest.raises(InputFileError, match=words):
        read(change(samples.glb(*samples.torus())), "a.glb")


def test_description_that_is_no_object(samples, read):
    with pytest.raises(InputFileError, match="not a JSON object"):
        read(samples.glb_container([1, 2], b""), "a.glb")


def test_nested_brackets_do_not_exhaust_the_stack(samples, read):
    with pytest.raises(InputFileError, match="not valid JSON"):
        read(samples.glb_container(b"[" * 10**6, b""), "a.glb")


def test_trailing_bytes_are_a_caution(samples, read, codes):
    assert "trailing-bytes" in codes(read(samples.glb(*samples.torus()) + b"zz", "a.glb", "m"))


def test_long_description_is_refused_unparsed(samples, read, monkeypatch):
    monkeypatch.setattr("mirrorprep.intake.glb.MAX_JSON_BYTES", 100)
    with pytest.raises(InputFileError, match=r"bytes \(limit 100\)"):
        read(samples.glb(*samples.torus()), "a.glb")

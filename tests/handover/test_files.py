"""STL, PLY and 3MF files, read back by independent readers."""

import struct
import zipfile

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mirrorprep import cautions
from mirrorprep.errors import NotASolidError, OutputError, UsageError
from mirrorprep.handover.files import STL_HEADER, NamedPart, write_3mf, write_ply, write_stl
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.primitives import box, sphere


def strictly_read(path):
    """Read a 3MF file with lib3mf in strict mode; return the model and its warnings."""
    lib3mf = pytest.importorskip("lib3mf")
    model = lib3mf.get_wrapper().CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)  # noqa: FBT003 - lib3mf's own call
    reader.ReadFromFile(str(path))
    return model, [reader.GetWarning(i) for i in range(reader.GetWarningCount())]


def objects(model):
    found = model.GetMeshObjects()
    while found.MoveNext():
        yield found.GetCurrentMeshObject()


# --- STL: 84 + 50 n bytes, header not 'solid', counter-clockwise, attribute 0 (format pages quoting the
# 1989 specification)


def test_stl_size_header_and_attributes(tmp_path):
    path = write_stl(sphere(10), tmp_path / "s.stl")
    data = path.read_bytes()
    count = struct.unpack("<I", data[80:84])[0]
    assert count == len(sphere(10).mesh.faces)
    assert len(data) == 84 + 50 * count
    assert not data[:80].lower().lstrip().startswith(b"solid")
    assert all(data[84 + 50 * i + 48 : 84 + 50 * i + 50] == b"\0\0" for i in range(count))


def test_stl_header_carries_the_caution_and_the_unit():
    assert len(STL_HEADER) == 80
    first_sentence = STL_HEADER.decode().split("mm. ")[1].strip()
    assert cautions.RESEARCH_ONLY.startswith(first_sentence)
    assert "demonstration only" in first_sentence


def test_stl_read_by_vtk_has_the_same_volume(tmp_path):
    vtk_stl = pytest.importorskip("vtkmodules.vtkIOGeometry")
    from vtkmodules.vtkFiltersCore import vtkMassProperties

    body = sphere(10, center_mm=[100, 100, 100])
    reader = vtk_stl.vtkSTLReader()
    reader.SetFileName(str(write_stl(body, tmp_path / "s.stl")))
    mass = vtkMassProperties()
    mass.SetInputConnection(reader.GetOutputPort())
    mass.Update()
    # 32-bit floats near 100 mm: 2.8e-7 for a sphere of 10 mm (measured with numpy)
    assert mass.GetVolume() == pytest.approx(body.volume_mm3, rel=1e-6)


def test_stl_normals_follow_the_right_hand_rule(tmp_path):
    data = write_stl(sphere(10, segments=16), tmp_path / "s.stl").read_bytes()
    kind = [("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")]
    records = np.frombuffer(data[84:], dtype=kind)
    outward = np.einsum("ij,ij->i", records["normal"], records["corners"].mean(axis=1))
    assert (outward > 0).all()
    np.testing.assert_allclose(np.linalg.norm(records["normal"], axis=1), 1, atol=1e-6)


def test_stl_refuses_nothing_and_the_unrepresentable(tmp_path):
    with pytest.raises(OutputError, match="no triangles"):
        write_stl(ScanMesh(vertices=np.zeros((0, 3)), faces=np.zeros((0, 3), int)), tmp_path / "e.stl")
    huge = ScanMesh(vertices=np.eye(3) * 1e300, faces=np.array([[0, 1, 2]]))
    with pytest.raises(OutputError, match="too large"):
        write_stl(huge, tmp_path / "h.stl")
    assert list(tmp_path.iterdir()) == []


def test_stl_of_a_degenerate_triangle_has_a_zero_normal(tmp_path):
    flat = ScanMesh(vertices=np.zeros((3, 3)), faces=np.array([[0, 1, 2]]))
    data = write_stl(flat, tmp_path / "f.stl").read_bytes()
    assert data[84:96] == bytes(12)


# --- PLY, read by VTK


def test_ply_read_by_vtk_keeps_positions_colours_and_the_caution(tmp_path):
    vtk_ply = pytest.importorskip("vtkmodules.vtkIOPLY")
    from vtkmodules.util.numpy_support import vtk_to_numpy

    plain = box([1, 2, 3]).mesh
    colors = np.arange(32, dtype=np.uint8).reshape(8, 4)
    mesh = ScanMesh(vertices=plain.vertices + 1 / 3, faces=plain.faces, colors=colors)
    path = write_ply(mesh, tmp_path / "b.ply")
    assert cautions.RESEARCH_ONLY.encode() in path.read_bytes()
    reader = vtk_ply.vtkPLYReader()
    reader.SetFileName(str(path))
    reader.Update()
    output = reader.GetOutput()
    np.testing.assert_allclose(vtk_to_numpy(output.GetPoints().GetData()), mesh.vertices, rtol=1e-7)
    np.testing.assert_array_equal(vtk_to_numpy(output.GetPointData().GetScalars()), colors)
    cells = vtk_to_numpy(output.GetPolys().GetConnectivityArray())
    np.testing.assert_array_equal(cells.reshape(-1, 3), mesh.faces)


def test_ply_without_colours_keeps_full_precision(tmp_path):
    mesh = box([1, 2, 3]).transformed(np.diag([1 / 3, 1 / 7, 1, 1])).mesh
    data = write_ply(mesh, tmp_path / "b.ply").read_bytes()
    body = data.split(b"end_header\n", 1)[1]
    stored = np.frombuffer(body[: 24 * len(mesh.vertices)], dtype="<f8").reshape(-1, 3)
    np.testing.assert_array_equal(stored, mesh.vertices)


# --- 3MF, core specification 1.4, read by lib3mf in strict mode


def test_3mf_passes_strict_reading_without_a_warning(tmp_path):
    lib3mf = pytest.importorskip("lib3mf")
    parts = [
        NamedPart(name="half_a", mesh=box([10, 20, 30])),
        NamedPart(name='cup & "<sprue>" Ø', mesh=sphere(5)),
    ]
    path = write_3mf(parts, tmp_path / "m.3mf", metadata={"Title": "a < b & c", "LicenseTerms": "none"})
    model, warnings = strictly_read(path)
    assert warnings == []
    assert model.GetUnit() == lib3mf.ModelUnit.MilliMeter
    found = {item.GetName(): item for item in objects(model)}
    assert set(found) == {part.name for part in parts}
    assert all(item.IsManifoldAndOriented() for item in found.values())
    group = model.GetMetaDataGroup()
    values = {
        group.GetMetaData(i).GetName(): group.GetMetaData(i).GetValue()
        for i in range(group.GetMetaDataCount())
    }
    assert values["Title"] == "a < b & c"
    assert values["Description"] == cautions.RESEARCH_ONLY
    assert values["Application"].startswith("mirrorprep ")
    assert "CreationDate" not in values


def test_3mf_vertices_and_triangles_survive(tmp_path):
    body = sphere(50, center_mm=[100, 200, 30])
    model, _ = strictly_read(write_3mf([NamedPart(name="ball", mesh=body)], tmp_path / "m.3mf"))
    item = next(objects(model))
    points = np.array([list(v.Coordinates) for v in item.GetVertices()])
    faces = np.array([list(t.Indices) for t in item.GetTriangleIndices()])
    np.testing.assert_allclose(points, body.mesh.vertices, rtol=1e-7)  # lib3mf keeps 32-bit floats
    np.testing.assert_array_equal(faces, body.mesh.faces)


def test_3mf_placement_is_row_vector_convention(tmp_path):
    # section 3.3: m00 m01 m02 ... m30 m31 m32, row vectors, translation last
    turn = np.eye(4)
    turn[:3, :3] = [[0, -1, 0], [1, 0, 0], [0, 0, 1]]
    turn[:3, 3] = [100, 50, 1.5]
    path = write_3mf([NamedPart(name="b", mesh=box([2, 4, 3]), transform=turn)], tmp_path / "m.3mf")
    model, warnings = strictly_read(path)
    assert warnings == []
    items = model.GetBuildItems()
    items.MoveNext()
    outbox = items.GetCurrent().GetOutbox()
    assert list(outbox.MinCoordinate) == [98, 49, 0]
    assert list(outbox.MaxCoordinate) == [102, 51, 3]


def test_3mf_same_input_same_bytes(tmp_path):
    first = write_3mf([NamedPart(name="b", mesh=sphere(5))], tmp_path / "a.3mf").read_bytes()
    second = write_3mf([NamedPart(name="b", mesh=sphere(5))], tmp_path / "b.3mf").read_bytes()
    assert first == second
    with zipfile.ZipFile(tmp_path / "a.3mf") as package:
        assert package.testzip() is None
        assert {info.date_time for info in package.infolist()} == {(1980, 1, 1, 0, 0, 0)}


def test_3mf_refuses_open_and_inverted_meshes(tmp_path):
    solid = box([1, 1, 1]).mesh
    opened = ScanMesh(vertices=solid.vertices, faces=solid.faces[1:])
    inverted = ScanMesh(vertices=solid.vertices, faces=solid.faces[:, ::-1])
    for mesh, words in ((opened, "3 open edges"), (inverted, "inside out")):
        with pytest.raises(NotASolidError, match=words):
            write_3mf([NamedPart(name="b", mesh=mesh)], tmp_path / "m.3mf")
    assert write_3mf([NamedPart(name="b", mesh=solid)], tmp_path / "m.3mf").exists()


def test_3mf_refuses_bad_names_and_metadata(tmp_path):
    solid = box([1, 1, 1])
    path = tmp_path / "m.3mf"
    with pytest.raises(OutputError, match="no part"):
        write_3mf([], path)
    for names in (["a", "a"], [" "], ["bad\x07name"]):
        with pytest.raises(UsageError, match="cannot name"):
            write_3mf([NamedPart(name=name, mesh=solid) for name in names], path)
    with pytest.raises(UsageError, match="'Author' is not a 3MF metadata name"):
        write_3mf([NamedPart(name="a", mesh=solid)], path, metadata={"Author": "x"})
    assert not path.exists()


def test_3mf_description_always_carries_the_caution(tmp_path):
    part = NamedPart(name="a", mesh=box([1, 1, 1]))
    path = write_3mf([part], tmp_path / "m.3mf", metadata={"Description": "Mould of job R-1.\x00"})
    text = zipfile.ZipFile(path).read("3D/3dmodel.model").decode()
    assert f"Mould of job R-1. {cautions.RESEARCH_ONLY}<" in text


@pytest.mark.parametrize(
    "matrix",
    [np.diag([-1, 1, 1, 1]), np.diag([0, 1, 1, 1]), np.full((4, 4), np.nan), np.eye(3), np.ones((4, 4))],
)
def test_a_placement_is_proper(matrix):
    with pytest.raises(UsageError, match="not a placement"):
        NamedPart(name="a", mesh=box([1, 1, 1]), transform=matrix)


@settings(deadline=None, max_examples=15, derandomize=True)
@given(
    size=st.tuples(*[st.floats(1e-3, 1e3)] * 3),
    shift=st.tuples(*[st.floats(-1e3, 1e3)] * 3),
)
def test_3mf_any_box_stays_a_solid(tmp_path_factory, size, shift):
    path = tmp_path_factory.mktemp("h") / "m.3mf"
    body = box(size, center_mm=shift)
    write_3mf([NamedPart(name="box", mesh=body)], path)
    model, warnings = strictly_read(path)
    assert warnings == []
    assert next(objects(model)).IsManifoldAndOriented()

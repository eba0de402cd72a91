"""3MF: units, transforms, components, several parts; judged by lib3mf."""

import numpy as np
import pytest

from mirrorprep.errors import InputFileError
from mirrorprep.geometry.mass_properties import signed_volume_mm3

UNITS = {"micron": 1e-3, "millimeter": 1.0, "centimeter": 10.0, "inch": 25.4, "foot": 304.8, "meter": 1000.0}


@pytest.mark.parametrize("unit", UNITS)
def test_units(samples, read, codes, unit):
    """3MF core specification 1.4, section 3.4."""
    points, faces = samples.torus()
    mesh = read(samples.threemf(points, faces, unit=unit), "a.3mf", None)
    np.testing.assert_array_equal(mesh.vertices, points.astype(np.float64) * UNITS[unit])
    np.testing.assert_array_equal(mesh.faces, faces)
    assert codes(mesh) == []


def test_unit_left_out_is_millimetres(samples, read, codes):
    mesh = read(samples.threemf(*samples.torus(), unit=""), "a.3mf", None)
    assert mesh.origin.units == "mm"
    assert codes(mesh) == []


def test_stated_unit_wins_with_a_caution(samples, read, codes):
    mesh = read(samples.threemf(*samples.torus(), unit="inch"), "a.3mf", "mm")
    assert codes(mesh) == ["unit-contradicts-file"]
    assert mesh.origin.units == "mm"


def test_mirroring_transform_keeps_the_sign_of_the_volume(samples, read):
    """Section 3.3: a negative determinant must not change the sign; row vectors, translation last."""
    points, faces = samples.torus()
    mesh = read(samples.threemf(points, faces, transform="-1 0 0 0 1 0 0 0 1 5 0 0"), "a.3mf", "mm")
    np.testing.assert_array_equal(mesh.vertices, points * [-1.0, 1, 1] + [5, 0, 0])
    plain = signed_volume_mm3(points.astype(np.float64), faces)
    assert signed_volume_mm3(mesh.vertices, mesh.faces) == pytest.approx(plain, rel=1e-12)


def test_components_nest_and_parts_lie_apart(samples, read, codes):
    """Component, then component of another model part (production extension), then build item."""
    points, faces = samples.torus()
    other = samples.model_xml(f'<object id="7">{samples.mesh_xml(points, faces)}</object>', "")
    resources = (
        '<object id="2"><components><component objectid="7" p:path="/3D/Sub/other.model" '
        'transform="0 1 0 -1 0 0 0 0 1 1 0 0"/></components></object>'
        '<object id="3"><components><component objectid="2" transform="2 0 0 0 2 0 0 0 2 0 0 0"/>'
        '<component objectid="2"/></components></object>'
    )
    build = '<item objectid="3" transform="1 0 0 0 1 0 0 0 1 0 0 9"/>'
    root = samples.model_xml(resources, build, attributes='requiredextensions="p"')
    mesh = read(samples.package({"3D/3dmodel.model": root, "3D/Sub/other.model": other}), "a.3mf", "mm")
    turned = np.column_stack([-points[:, 1], points[:, 0], points[:, 2]]).astype(np.float64)
    turned += np.array([1, 0, 0])
    placed = np.concatenate([turned * 2, turned]) + np.array([0, 0, 9])
    np.testing.assert_allclose(mesh.vertices, placed, atol=1e-12)
    assert codes(mesh) == ["several-objects"]


def test_written_by_lib3mf(samples, read, tmp_path):
    """Judge: a package that lib3mf wrote, in inches, with a mirrored component."""
    lib3mf = pytest.importorskip("lib3mf")
    points, faces = samples.torus()
    wrapper = lib3mf.get_wrapper()
    model = wrapper.CreateModel()
    model.SetUnit(lib3mf.ModelUnit.Inch)
    part = model.AddMeshObject()
    part.SetGeometry(
        [lib3mf.Position((lib3mf.ctypes.c_float * 3)(*map(float, p))) for p in points],
        [lib3mf.Triangle((lib3mf.ctypes.c_uint32 * 3)(*map(int, f))) for f in faces],
    )
    group = model.AddComponentsObject()
    group.AddComponent(part, wrapper.GetScaleTransform(-1.0, 1.0, 1.0))
    model.AddBuildItem(group, wrapper.GetTranslationTransform(1.0, 2.0, 3.0))
    model.QueryWriter("3mf").WriteToFile(str(tmp_path / "judge.3mf"))
    mesh = read((tmp_path / "judge.3mf").read_bytes(), "a.3mf", None)
    assert mesh.origin.units == "in"
    np.testing.assert_allclose(
        mesh.vertices, (points * [-1.0, 1, 1] + [1, 2, 3]) * 25.4, rtol=1e-5, atol=1e-4
    )
    assert signed_volume_mm3(mesh.vertices, mesh.faces) == pytest.approx(
        signed_volume_mm3(points.astype(np.float64), faces) * 25.4**3, rel=1e-5
    )


def test_supports_are_left_out_with_a_note(samples, read, codes):
    shape = samples.mesh_xml(*samples.torus())
    resources = f'<object id="1">{shape}</object><object id="2" type="support">{shape}</object>'
    model = samples.model_xml(resources, '<item objectid="1"/><item objectid="2"/>')
    mesh = read(samples.package({"3D/3dmodel.model": model}), "a.3mf", "mm")
    assert codes(mesh) == ["supports-ignored"]
    assert len(mesh.faces) == 192


def test_empty_build_is_a_caution(samples, read, codes):
    shape = samples.mesh_xml(*samples.torus())
    group = '<object id="2"><components><component objectid="1"/></components></object>'
    resources = f'<object id="1">{shape}</object>{group}'
    mesh = read(samples.package({"3D/3dmodel.model": samples.model_xml(resources, "")}), "a.3mf", "mm")
    assert codes(mesh) == ["empty-build"]
    assert len(mesh.faces) == 192


def test_model_is_found_without_a_relation(samples, read):
    data = samples.package(
        {
            "3D/odd.model": samples.model_xml(
                f'<object id="1">{samples.mesh_xml(*samples.torus())}</object>', '<item objectid="1"/>'
            )
        },
        root="3D/odd.model",
    )
    assert len(read(data, "a.3mf", "mm").faces) == 192


def laughs(levels):
    """Return objects of which each holds the one before ten times."""
    text = '<object id="0"><mesh><vertices/><triangles/></mesh></object>'
    for level in range(1, levels):
        inner = f'<component objectid="{level - 1}"/>' * 10
        text += f'<object id="{level}"><components>{inner}</components></object>'
    return text


def broken(samples):
    points, faces = samples.torus()
    shape = f'<object id="1">{samples.mesh_xml(points, faces)}</object>'
    item = '<item objectid="1"/>'
    return {
        "entities": ('<!DOCTYPE m [<!ENTITY e "x">]>' + samples.model_xml(shape, item)[39:], "document type"),
        "unknown unit": (samples.model_xml(shape, item, unit="league"), "unit 'league'"),
        "other extension": (
            samples.model_xml(shape, item, attributes='xmlns:b="urn:beams" requiredextensions="b"'),
            "needs the extension 'urn:beams'",
        ),
        "missing object": (
            samples.model_xml(shape, '<item objectid="2"/>'),
            "object 2, which does not exist",
        ),
        "path out": (samples.model_xml(shape, '<item objectid="1" p:path="/../x"/>'), "outside its archive"),
        "missing part": (samples.model_xml(shape, '<item objectid="1" p:path="/x"/>'), "lacks the part 'x'"),
        "bad transform": (
            samples.model_xml(shape, '<item objectid="1" transform="1 2"/>'),
            "12 finite numbers",
        ),
        "word in transform": (samples.model_xml(shape, '<item objectid="1" transform="a"/>'), "wrong number"),
        "item without object": (samples.model_xml(shape, "<item/>"), "lacks an attribute"),
        "vertex without z": (samples.model_xml(shape.replace(" z=", " w=", 1), item), "vertex of the 3MF"),
        "index too high": (samples.model_xml(shape.replace('v3="', 'v3="9', 1), item), "do not exist"),
        "index too long": (
            samples.model_xml(shape.replace('v3="', 'v3="' + "9" * 30, 1), item),
            "wrong number",
        ),
        "not a number": (
            samples.model_xml(shape.replace('x="', 'x="nan" a="', 1), item),
            "not a finite number",
        ),
        "twice": (samples.model_xml(shape + shape, item), "object 1 twice"),
        "itself": (
            samples.model_xml(
                '<object id="1"><components><component objectid="1"/></components></object>', item
            ),
            "form a loop",
        ),
        "ten to the thirty": (samples.model_xml(laughs(30), '<item objectid="29"/>'), "placed parts .limit"),
        "component outside": (samples.model_xml('<component objectid="1"/>', item), "outside every object"),
        "nothing": (samples.model_xml("", ""), "no triangles"),
        "other root": ("<html/>", "begins with 'html'"),
        "cut": (samples.model_xml(shape, item)[:500], "damaged"),
        "empty part": ("", "damaged"),
    }


CASES = [
    *("entities", "unknown unit", "other extension", "missing object", "path out", "missing part"),
    *("bad transform", "word in transform", "item without object", "vertex without z", "index too high"),
    *("index too long", "not a number", "twice", "itself", "ten to the thirty", "component outside"),
    *("nothing", "other root", "cut", "empty part"),
]


@pytest.mark.parametrize("case", CASES)
def test_refusals(samples, read, case):
    cases = broken(samples)
    assert sorted(cases) == sorted(CASES)
    text, words = cases[case]
    with pytest.raises(InputFileError, match=words):
        read(samples.package({"3D/3dmodel.model": text}), "a.3mf")


def test_archive_without_a_model(samples, read):
    with pytest.raises(InputFileError, match="no 3MF model"):
        read(samples.package({"a.model.txt": "x"}), "a.3mf")


def test_bomb(samples, read):
    model = samples.model_xml("<object id='1'/>" + " " * 50_000_000, "")
    with pytest.raises(InputFileError, match="times its packed size"):
        read(samples.package({"3D/3dmodel.model": model}), "a.3mf")

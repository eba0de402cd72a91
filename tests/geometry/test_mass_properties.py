"""Mass properties against closed forms, discretisation laws and VTK."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mirrorprep.geometry.mass_properties import area_mm2, mass_properties, signed_volume_mm3
from mirrorprep.geometry.reflection import reflect
from mirrorprep.solid.primitives import box, frustum, sphere

_CORNER_FACES = np.array([[0, 2, 1], [0, 3, 2], [0, 1, 3], [1, 2, 3]])


def _corner(a: float, b: float, c: float) -> np.ndarray:
    return np.vstack([np.zeros(3), np.diag([a, b, c])])


def test_corner_tetrahedron():
    """Edges 3, 5, 7: V = abc/6, centroid (a, b, c)/4, I = 3V/80 (b² + c², …), Vab/80 (closed form)."""
    result = mass_properties(_corner(3, 5, 7), _CORNER_FACES)
    assert result.volume_mm3 == pytest.approx(17.5, rel=1e-12)
    assert result.centroid_mm == pytest.approx([0.75, 1.25, 1.75], rel=1e-12)
    assert np.diag(result.inertia_mm5) == pytest.approx([48.5625, 38.0625, 22.3125], rel=1e-12)
    assert result.inertia_mm5[0, 1] == pytest.approx(3.28125, rel=1e-12)


def test_regular_tetrahedron():
    """Edge 10: V = a³/(6√2) = 117.851130, A = √3a² = 173.205081, I/m = a²/20 = 5 about any axis."""
    vertices = np.array([[1, 1, 1], [1, -1, -1], [-1, 1, -1], [-1, -1, 1]]) * 10 / np.sqrt(8)
    faces = np.array([[0, 1, 2], [0, 3, 1], [0, 2, 3], [1, 3, 2]])
    result = mass_properties(vertices, faces)
    assert result.volume_mm3 == pytest.approx(117.851130, rel=1e-8)
    assert result.area_mm2 == pytest.approx(173.205081, rel=1e-8)
    assert result.inertia_mm5 / result.volume_mm3 == pytest.approx(5.0 * np.eye(3), abs=1e-12)


@pytest.mark.parametrize("level", [2, 3, 4])
def test_sphere_mesh_follows_the_discretisation_law(level):
    """ΔV/V ≈ −⟨Σe²⟩/(8R²), area-weighted, for vertices on a sphere (derived closed form, 0.1 % of itself)."""
    pyvista = pytest.importorskip("pyvista")
    ball = pyvista.Icosphere(radius=10.0, nsub=level)
    vertices, faces = np.asarray(ball.points, dtype=float), ball.faces.reshape(-1, 4)[:, 1:]
    vertices = 10.0 * vertices / np.linalg.norm(vertices, axis=1)[:, None]
    corners = vertices[faces]
    edges = ((corners - np.roll(corners, 1, axis=1)) ** 2).sum(axis=(1, 2))
    areas = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1)
    law = -np.average(edges, weights=areas) / (8 * 10.0**2)
    error = abs(signed_volume_mm3(vertices, faces)) / 4188.790205 - 1.0
    assert error == pytest.approx(law, rel=0.03 if level == 2 else 0.01)


def test_inscribed_cylinder_follows_the_polygon_law():
    """n-gon cylinder: V ratio n·sin(2π/n)/(2π); 64 sides −0.1606 % (closed form)."""
    rod = frustum([0, 0, 0], [0, 0, 30], start_radius_mm=10, stop_radius_mm=10, segments=64)
    ratio = rod.volume_mm3 / (np.pi * 100 * 30)
    assert ratio == pytest.approx(64 * np.sin(2 * np.pi / 64) / (2 * np.pi), rel=1e-12)
    assert ratio - 1 == pytest.approx(-0.001606, abs=1e-6)


def test_frustum_volume_and_centroid():
    """R₁ = 10, R₂ = 5, h = 20: V = 3665.191429, centroid at 55/7 above the base (closed form)."""
    body = frustum([0, 0, 0], [0, 0, 20], start_radius_mm=10, stop_radius_mm=5, segments=512)
    assert body.volume_mm3 == pytest.approx(3665.191429, rel=1e-4)
    assert body.mass_properties.centroid_mm == pytest.approx([0, 0, 55 / 7], abs=1e-6)


def test_volume_and_area_agree_with_vtk():
    """VTK's mass properties of the same triangles, to 1e-12."""
    pyvista = pytest.importorskip("pyvista")
    body = (sphere(10, segments=64) - box([6, 6, 40])).mesh
    faces = np.column_stack([np.full(len(body.faces), 3), body.faces])
    judge = pyvista.PolyData(np.array(body.vertices), faces)
    assert signed_volume_mm3(body.vertices, body.faces) == pytest.approx(judge.volume, rel=1e-12)
    assert area_mm2(body.vertices, body.faces) == pytest.approx(judge.area, rel=1e-10)


def test_integer_sphere_of_pyvista_has_its_exact_volume():
    """pyvista's sphere.ply has integer vertices: 8 425 174 mm³ exactly (four libraries agree)."""
    examples = pytest.importorskip("pyvista.examples")
    ball = examples.load_sphere()
    volume = signed_volume_mm3(np.asarray(ball.points, dtype=float), ball.faces.reshape(-1, 4)[:, 1:])
    assert abs(volume) == pytest.approx(8_425_174.0, rel=1e-13)


@settings(deadline=None, derandomize=True, max_examples=40)
@given(scale=st.floats(0.1, 10), shift=st.tuples(*[st.floats(-500, 500)] * 3))
def test_invariances(scale, shift):
    """V scales with s³, A with s², I with s⁵; a mirror keeps V and flips Ixy."""
    vertices = _corner(3, 5, 7)
    base = mass_properties(vertices, _CORNER_FACES)
    moved = mass_properties(vertices * scale + np.array(shift), _CORNER_FACES)
    assert moved.volume_mm3 == pytest.approx(base.volume_mm3 * scale**3, rel=1e-9)
    assert moved.area_mm2 == pytest.approx(base.area_mm2 * scale**2, rel=1e-9)
    assert moved.centroid_mm == pytest.approx(base.centroid_mm * scale + np.array(shift), abs=1e-9)
    assert moved.inertia_mm5 == pytest.approx(base.inertia_mm5 * scale**5, rel=1e-7)
    image = mass_properties(reflect(vertices, [1, 0, 0], 0.0), _CORNER_FACES[:, ::-1])
    assert image.volume_mm3 == pytest.approx(base.volume_mm3, rel=1e-13)
    assert image.inertia_mm5[0, 1] == pytest.approx(-base.inertia_mm5[0, 1], rel=1e-12)
    assert image.inertia_mm5[1, 2] == pytest.approx(base.inertia_mm5[1, 2], rel=1e-12)


def test_an_open_box_gets_a_number_that_must_never_be_called_a_volume():
    """The kernel integrates whatever it is given; only the Solid type makes it a volume."""
    mesh = box([1, 1, 1]).mesh
    assert signed_volume_mm3(mesh.vertices, mesh.faces[1:]) != pytest.approx(1.0)
    assert signed_volume_mm3(np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int64)) == 0.0

"""Plain solids: closed forms against printed values, meshes against closed forms and VTK."""

import numpy as np
import pytest

from demo_shapes.plain import PLAIN_NAMES, ellipsoid_area_mm2, plain, revolved
from mirrorprep.errors import UsageError
from mirrorprep.solid.certify import examine

# Formulas of solid geometry evaluated outside this project, the ellipsoid's area by Carlson's R_G.
VALUES = {
    "sphere": (4188.790205, 1256.637061),
    "ellipsoid": (25132.741229, 4888.214630258),
    "ear-box-ellipsoid": (21375.396415, 4547.805877),
    "torus": (9869.604401, 3947.841760),
    "frustum": (3665.191429, 1364.182957),
    "cap": (435.634181, 251.327412 + 201.061930),
    "capsule": (2094.395102, 942.477796),
    "lens": (442.964564, 333.008821),
    "equal-lens": (1308.996939, 2 * 314.159265),
    "tetrahedron": (117.851130, 173.205081),
    "corner-tetrahedron": (17.5, 7.5 + 17.5 + 10.5 + 0.5 * np.sqrt(15**2 + 35**2 + 21**2)),
    "box": (24000.0, 5200.0),
    "towers": (60 * 30 * 6 + 144 * 40, 2 * (1800 + 180 + 360) + 48 * 40),
}


@pytest.mark.parametrize("name", PLAIN_NAMES)
def test_closed_forms_have_the_printed_values(name):
    shape = plain(name, segments=8)
    assert (shape.volume_mm3, shape.area_mm2) == pytest.approx(VALUES[name], rel=2e-9, abs=1e-6)


@pytest.mark.parametrize("name", PLAIN_NAMES)
def test_meshes_reach_them_at_second_order(name):
    errors = []
    for segments in (64, 128):
        shape = plain(name, segments=segments)
        found = shape.solid.mass_properties
        assert examine(shape.solid.mesh).solid
        errors.append((1 - found.volume_mm3 / shape.volume_mm3, 1 - found.area_mm2 / shape.area_mm2))
    if shape.flat:
        assert np.abs(errors).max() < 1e-12
    else:
        coarse, fine = np.array(errors)
        assert (fine > 0).all()  # inscribed
        assert fine[0] < 20 / 128**2
        assert np.all((coarse / fine > 3.8) & (coarse / fine < 4.2))


def test_sphere_follows_the_discretisation_law():
    # Inscribed mesh of B latitude bands and L meridians: ΔV/V ≈ −¼ [(π/B)² + ⅔ (2π/L)²].
    shape = plain("sphere", segments=128)
    law = -0.25 * ((np.pi / 64) ** 2 + 2 / 3 * (2 * np.pi / 128) ** 2)
    assert shape.solid.volume_mm3 / shape.volume_mm3 - 1 == pytest.approx(law, rel=0.01)


@pytest.mark.parametrize("name", PLAIN_NAMES)
def test_vtk_measures_the_same(name):
    pyvista = pytest.importorskip("pyvista")
    mesh = plain(name, segments=64).solid.mesh
    judge = pyvista.make_tri_mesh(mesh.vertices, mesh.faces)
    assert plain(name, segments=64).solid.volume_mm3 == pytest.approx(judge.volume, rel=1e-6)


def test_ellipsoid_area_of_a_sphere():
    assert ellipsoid_area_mm2(7, 7, 7) == pytest.approx(4 * np.pi * 49, rel=1e-14)


def test_revolved_profile_with_two_rings_is_a_cylinder():
    # n-gon prism: π is replaced by n/2 · sin(2π/n).
    prism = revolved([(0, 0), (2, 0), (2, 5), (0, 5)], 16)
    assert prism.volume_mm3 == pytest.approx(8 * np.sin(np.pi / 8) * 4 * 5, rel=1e-12)


def test_towers_hold_air_when_turned_over():
    mesh = plain("towers").solid.mesh
    assert np.unique(mesh.vertices[:, 2].round(6)).tolist() == [0.0, 6.0, 22.0, 30.0]


def test_unknown_names_and_coarse_circles_are_refused():
    with pytest.raises(UsageError, match="'cube' is not a plain shape"):
        plain("cube")
    for segments in (4, 30):
        with pytest.raises(UsageError, match="do not make a circle"):
            plain("sphere", segments=segments)

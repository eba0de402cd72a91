"""Volume, area, mass and their digits against closed forms and handbook values."""

import numpy as np
import pytest

from mirrorprep.errors import UsageError
from mirrorprep.measurement.measure import measure
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.primitives import box, sphere


def test_box_has_its_closed_form_figures():
    result = measure(box([10, 20, 30]), accuracy_mm=0.1, density_g_cm3=1.10)
    assert result.solid
    assert result.volume_mm3 == pytest.approx(6000.0, rel=1e-12)
    assert result.area_mm2 == pytest.approx(2200.0, rel=1e-12)
    assert result.volume_sd_mm3 == pytest.approx(220.0, rel=1e-12)
    assert result.mass_g == pytest.approx(6.6, rel=1e-12)
    assert result.mass_sd_g == pytest.approx(0.242, rel=1e-12)
    assert result.centroid_mm == pytest.approx([0, 0, 0], abs=1e-12)
    assert result.min_wall_mm == pytest.approx(10.0, abs=0.01)
    assert result.size_mm.tolist() == [10, 20, 30]


def test_ellipsoid_of_ear_box_size_follows_the_discretisation_law():
    """Semi-axes 31.5, 18, 9: V = 4/3 πabc = 21375.396415 mm³, 23.513 g at 1.10 g/cm³ (closed form).

    An inscribed mesh loses as much, relatively, as the sphere it is an affine image of.
    """
    ball = sphere(1.0, segments=256)
    loss = 1.0 - ball.volume_mm3 / (4.0 / 3.0 * np.pi)
    ellipsoid = ball.transformed(np.diag([31.5, 18.0, 9.0, 1.0]))
    result = measure(ellipsoid, density_g_cm3=1.10)
    assert 0 < loss < 1e-3
    assert result.volume_mm3 == pytest.approx(21375.396415 * (1.0 - loss), rel=1e-9)
    assert result.mass_g == pytest.approx(23.513 * (1.0 - loss), rel=2e-5)


def test_open_surface_has_no_volume_and_says_why():
    solid = box([10, 20, 30]).mesh
    result = measure(solid.with_geometry(solid.vertices, solid.faces[1:]), accuracy_mm=0.1, density_g_cm3=1)
    assert not result.solid
    assert result.volume_mm3 is None
    assert result.volume_sd_mm3 is None
    assert result.mass_g is None
    assert result.min_wall_mm is None
    assert result.area_mm2 < 2200.0
    assert "3 open edges" in result.findings[0].message


def test_inside_out_surface_has_no_volume():
    solid = box([10, 20, 30]).mesh
    result = measure(solid.with_geometry(solid.vertices, solid.faces[:, ::-1]))
    assert result.volume_mm3 is None
    assert "inside out" in result.findings[0].message


def test_unknown_accuracy_leaves_the_uncertainty_unknown():
    result = measure(box([1, 2, 3]))
    assert result.volume_sd_mm3 is None
    assert result.mass_g is None
    assert [finding.code for finding in result.findings] == ["accuracy-unknown", "density-unknown"]


@pytest.mark.parametrize("value", [0.0, -1.0, float("nan"), float("inf")])
def test_impossible_accuracy_or_density_is_refused(value):
    with pytest.raises(UsageError, match="accuracy"):
        measure(box([1, 1, 1]), accuracy_mm=value)
    with pytest.raises(UsageError, match="density"):
        measure(box([1, 1, 1]), density_g_cm3=value)


def test_json_names_are_those_of_the_contract():
    names = {
        "solid",
        "volume_mm3",
        "volume_sd_mm3",
        "area_mm2",
        "centroid_mm",
        "mass_g",
        "min_wall_mm",
        "size_mm",
    }
    assert names <= measure(box([1, 2, 3])).as_dict().keys()


def test_open_airplane_of_pyvista_gets_no_volume():
    """pyvista's airplane.ply: three libraries say 25.2, 25.5 and 26.3 million mm³, a spread of 4.3 %."""
    examples = pytest.importorskip("pyvista.examples")
    plane = examples.load_airplane()
    mesh = ScanMesh(vertices=plane.points, faces=plane.faces.reshape(-1, 4)[:, 1:])
    result = measure(mesh)
    assert result.volume_mm3 is None
    assert result.area_mm2 == pytest.approx(1_053_911.453, rel=1e-6)

"""Contouring on cells of several sizes: closed, true to the field, and as large as closed forms say."""

import math

import numpy as np
import pytest

from demo_shapes.adaptive import surface
from demo_shapes.fields import ball, soft_min
from mirrorprep.errors import GeometryError
from mirrorprep.geometry.mass_properties import mass_properties
from mirrorprep.geometry.self_intersection import self_intersections
from mirrorprep.solid.certify import examine
from mirrorprep.solid.mesh import ScanMesh

BOX = [[-12.0] * 3, [12.0] * 3]


def fine_on_one_side(points):
    return np.clip(((points[:, 0] + 12.0) / 8.0).astype(np.int64), 0, 2)


def sphere(points):
    return ball(points, (0.1, -0.2, 0.3), 10.0)


@pytest.mark.parametrize("wanted", [None, fine_on_one_side], ids=["one size", "three sizes"])
def test_a_sphere_is_closed_and_has_its_volume(wanted):
    vertices, faces = surface(sphere, BOX, step_mm=0.5, coarsest=2, wanted=wanted)
    mesh = ScanMesh(vertices=vertices, faces=faces)
    assert examine(mesh).solid
    assert np.abs(sphere(vertices)).max() < 2e-3
    # Closed form 4/3 π R³.
    assert mass_properties(vertices, faces).volume_mm3 == pytest.approx(4 / 3 * math.pi * 1000, rel=6e-3)
    assert len(self_intersections(vertices, faces)) == 0


def test_volume_errors_shrink_with_the_square_of_the_step():
    exact = 4 / 3 * math.pi * 1000
    errors = [
        abs(mass_properties(*surface(sphere, BOX, step_mm=step)).volume_mm3 / exact - 1)
        for step in (1.0, 0.5)
    ]
    assert 3.3 < errors[0] / errors[1] < 4.7


def test_two_sheets_in_one_cell_stay_a_manifold():
    rng = np.random.default_rng(8)
    waves, phases = rng.normal(size=(12, 3)), rng.uniform(0, 6.28, 12)

    def rough(points):
        hills = np.sin(points @ waves.T + phases).sum(axis=1)
        return 0.1 * np.maximum(hills, 2.0 * ball(points, (0, 0, 0), 10.0))

    for step in (0.5, 0.8, 1.1):
        vertices, faces = surface(rough, BOX, step_mm=step, slack=3.0)
        certificate = examine(ScanMesh(vertices=vertices, faces=faces))
        assert len(faces) > 1500
        assert certificate.open_edges == certificate.inconsistent_edges == 0
        assert certificate.non_manifold_edges == 0


def test_where_there_is_no_surface_there_are_no_faces():
    vertices, faces = surface(lambda points: np.full(len(points), 1e-3), BOX, step_mm=2.0)
    assert vertices.shape == faces.shape == (0, 3)


def test_vtk_agrees_on_volume_and_area():
    # Outside judge: VTK's contour of the same field on a fine regular grid, measured by VTK.
    pyvista = pytest.importorskip("pyvista")

    def pear(points):
        return soft_min(ball(points, (0, 0, -2), 7.0), ball(points, (0, 0, 6), 4.0), 5.0)

    count = 97
    grid = pyvista.ImageData(dimensions=(count,) * 3, spacing=(0.25,) * 3, origin=(-12.0,) * 3)
    grid["values"] = pear(np.asarray(grid.points))
    judge = grid.contour([0.0], method="marching_cubes").triangulate()
    found = mass_properties(*surface(pear, BOX, step_mm=0.25))
    assert found.volume_mm3 == pytest.approx(judge.volume, rel=1e-3)
    assert found.area_mm2 == pytest.approx(judge.area, rel=2e-3)


def test_a_field_that_changes_too_fast_is_refused():
    def steep(points):
        return 6.0 * ball(points, (0.1, 0.2, 0.0), 6.0) + 3.0 * np.sin(2.0 * points[:, 0])

    with pytest.raises(GeometryError, match="too fast"):
        surface(steep, BOX, step_mm=0.5)

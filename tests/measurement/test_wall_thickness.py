"""Wall thickness against bodies whose walls are known."""

import numpy as np
import pytest

from mirrorprep.measurement.wall_thickness import wall_thickness
from mirrorprep.solid.primitives import box, frustum, sphere


@pytest.mark.parametrize(
    ("part", "wall_mm", "tolerance_mm"),
    [
        (lambda: box([40, 40, 2]), 2.0, 0.001),
        (lambda: box([20, 30, 40]), 20.0, 0.01),
        (lambda: sphere(10, segments=128) - sphere(8.5, segments=128), 1.5, 0.02),
        (lambda: frustum([0, 0, 0], [0, 0, 30], start_radius_mm=5, stop_radius_mm=5), 10.0, 0.05),
    ],
    ids=["plate", "brick", "hollow ball", "rod"],
)
def test_known_walls(part, wall_mm, tolerance_mm):
    assert wall_thickness(part(), count=8000).smallest_mm == pytest.approx(wall_mm, abs=tolerance_mm)


def test_thin_spot_is_found_where_it_is():
    """A 20 mm cube with a pocket that leaves 1.2 mm of floor."""
    pocketed = box([20, 20, 20]) - box([8, 8, 18.8], center_mm=[3, 0, 0.6])
    walls = wall_thickness(pocketed)
    assert walls.smallest_mm == pytest.approx(1.2, abs=0.01)
    assert np.all(np.abs(walls.thinnest_at_mm - [3, 0, -9.4]) <= [4.1, 4.1, 0.7])


def test_same_seed_same_answer():
    part = box([5, 6, 7])
    first, second = wall_thickness(part, count=500), wall_thickness(part, count=500)
    assert np.array_equal(first.thickness_mm, second.thickness_mm, equal_nan=True)


def test_map_over_a_hollow_ball_against_rays():
    """Inner balls against rays along the inward normal (VTK's cell locator), on a wall of 1.5 mm.

    Both ways of measuring agree on a wall of even thickness, R − r in closed form.
    """
    vtk = pytest.importorskip("vtk")
    shell = sphere(10, segments=128) - sphere(8.5, segments=128)
    mesh = shell.mesh
    outer = np.flatnonzero(np.linalg.norm(mesh.vertices, axis=1) > 9.5)[::40]
    normals = mesh.vertices[outer] / np.linalg.norm(mesh.vertices[outer], axis=1)[:, None]
    thickness = wall_thickness(shell).at(mesh.vertices[outer], normals)
    assert np.isfinite(thickness).all()
    np.testing.assert_allclose(thickness, 1.5, atol=0.05)
    rays = ray_thickness(vtk, mesh, mesh.vertices[outer], normals)
    np.testing.assert_allclose(thickness, rays, atol=0.05)


def ray_thickness(vtk, mesh, points, normals):
    """Distance from each point along the inward normal to the next surface."""
    from vtk.util.numpy_support import numpy_to_vtk, numpy_to_vtkIdTypeArray

    data, corners, cells = vtk.vtkPolyData(), vtk.vtkPoints(), vtk.vtkCellArray()
    corners.SetData(numpy_to_vtk(mesh.vertices, deep=True))
    cells.SetData(3, numpy_to_vtkIdTypeArray(mesh.faces.ravel().astype(np.int64), deep=True))
    data.SetPoints(corners)
    data.SetPolys(cells)
    locator = vtk.vtkCellLocator()
    locator.SetDataSet(data)
    locator.BuildLocator()
    lengths = []
    for point, normal in zip(points, normals, strict=True):
        share, met, place = vtk.mutable(0.0), [0.0] * 3, [0.0] * 3
        hit = locator.IntersectWithLine(
            point - 1e-3 * normal, point - 30.0 * normal, 1e-9, share, met, place, vtk.mutable(0)
        )
        lengths.append(np.linalg.norm(np.array(met) - point) if hit else np.nan)
    return np.array(lengths)


def test_a_round_limb_has_a_wall_all_around():
    rod = frustum([0, 0, 0], [0, 0, 60], start_radius_mm=3, stop_radius_mm=3)
    walls = wall_thickness(rod)
    middle = (walls.points_mm[:, 2] > 6.0) & (walls.points_mm[:, 2] < 54.0)
    assert np.isfinite(walls.thickness_mm[middle]).mean() > 0.99
    np.testing.assert_allclose(walls.thickness_mm[middle & np.isfinite(walls.thickness_mm)], 6.0, atol=0.15)


def test_a_corner_is_no_wall():
    """Near the edges of a 20 mm cube the ball touches the next side; across it is 20 mm all the same."""
    walls = wall_thickness(box([20, 20, 20]))
    near_edge = np.sort(np.abs(walls.points_mm), axis=1)[:, 1] > 6.0
    known = near_edge & np.isfinite(walls.thickness_mm)
    assert known.sum() > 0.97 * near_edge.sum()
    np.testing.assert_allclose(walls.thickness_mm[known], 20.0, atol=1e-9)


def test_map_has_no_value_where_no_wall_faces():
    """Far off the surface there is none."""
    walls = wall_thickness(box([20, 20, 20]))
    assert np.isnan(walls.at(np.array([[60.0, 0.0, 0.0]]), np.array([[1.0, 0.0, 0.0]]))).all()

import numpy as np
import pytest

from mirrorprep.errors import NoPartingError
from mirrorprep.geometry.self_intersection import self_intersections
from mirrorprep.mould.shell import even_shell
from mirrorprep.solid.primitives import box, frustum, sphere
from mirrorprep.solid.solid import union

# Steiner's formula V(t) = V + A t + M t² + 4/3 π t³ for convex bodies (check values, section 1.4). A shell
# contoured on a grid has its vertices on the true surface or inside it: it comes out smaller, by a share of
# the order of the grid spacing squared.
STEINER_BOX_3 = 42257.787385  # box 20 × 30 × 40, t = 3


def steiner(volume, area, mean_width_m, wall):
    return volume + area * wall + mean_width_m * wall**2 + 4.0 / 3.0 * np.pi * wall**3


def test_box_follows_steiners_formula():
    assert steiner(24000, 5200, 90 * np.pi, 3) == pytest.approx(STEINER_BOX_3, rel=1e-9)
    for grid, share in ((1.0, 2e-3), (0.5, 5e-4)):
        shell = even_shell(box([20, 30, 40]), 3.0, grid_mm=grid)
        assert STEINER_BOX_3 * (1.0 - share) < shell.solid.volume_mm3 < STEINER_BOX_3


def test_tetrahedron_follows_steiners_formula():
    corners = 10.0 / np.sqrt(8.0) * np.array([[1, 1, 1], [1, -1, -1], [-1, 1, -1], [-1, -1, 1]])
    from mirrorprep.solid.section import hull_solid

    exact = 1266.434682  # edge 10, t = 3
    shell = even_shell(hull_solid(corners), 3.0, grid_mm=0.4)
    assert exact * (1.0 - 2e-3) < shell.solid.volume_mm3 < exact


def test_cylinder_follows_steiners_formula():
    part = frustum([0, 0, 0], [0, 0, 30], start_radius_mm=10, stop_radius_mm=10, segments=256)
    exact = 18814.192077  # r = 10, h = 30, t = 3
    volume = even_shell(part, 3.0, grid_mm=0.6).solid.volume_mm3
    assert exact * (1.0 - 2e-3) < volume < exact


def test_wall_thickness_error_is_measured_and_second_order():
    part = union([sphere(10.0), sphere(8.0, center_mm=[9, 4, 0])])
    coarse, fine = (even_shell(part, 6.0, grid_mm=grid) for grid in (2.0, 1.0))
    for shell, limit in ((coarse, 0.09), (fine, 0.03)):
        low, high, rms = shell.thickness_error_mm
        assert -2.5 * limit < low <= 0.0 <= high
        assert rms < limit
    assert fine.thickness_error_mm[2] < 0.5 * coarse.thickness_error_mm[2]


def test_measured_thickness_agrees_with_an_independent_library():
    pyvista = pytest.importorskip("pyvista")
    part = union([sphere(10.0), sphere(8.0, center_mm=[9, 4, 0])])
    shell = even_shell(part, 6.0)

    def surface(solid):
        faces = np.column_stack([np.full(len(solid.mesh.faces), 3), solid.mesh.faces])
        return pyvista.PolyData(np.array(solid.mesh.vertices), faces.ravel())

    outside = surface(shell.solid)
    assert outside.is_manifold
    error = np.abs(outside.compute_implicit_distance(surface(part))["implicit_distance"]) - 6.0
    low, high, _ = shell.thickness_error_mm
    assert error.min() >= low - 0.02
    assert error.max() <= high + 0.02


def test_hollow_part_gets_one_outside():
    ball = sphere(20.0) - sphere(14.0)
    shell = even_shell(ball, 3.0)
    assert shell.filled_voids == 1
    assert len(shell.solid.fragments()) == 1
    assert shell.solid.volume_mm3 == pytest.approx(4 / 3 * np.pi * 23**3, rel=0.01)


def test_narrow_fold_is_bridged():
    fork = box([30, 30, 10]) - box([4, 40, 20])
    fork = fork + box([30, 4, 10], center_mm=[0, -13, 0])
    shell = even_shell(fork, 6.0)
    assert len(shell.solid.fragments()) == 1
    assert len(self_intersections(shell.solid.mesh.vertices, shell.solid.mesh.faces)) == 0


def test_two_parts_apart_cannot_share_a_shell_of_one_piece():
    apart = union([sphere(5.0), sphere(5.0, center_mm=[60, 0, 0])])
    with pytest.raises(NoPartingError, match="2 pieces"):
        even_shell(apart, 2.0)

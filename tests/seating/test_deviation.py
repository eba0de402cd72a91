"""Deviations against closed forms and VTK, and what limits them."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import mirrorprep
from mirrorprep.errors import GeometryError
from mirrorprep.seating.deviation import compare, deviation_of, vertex_areas
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.primitives import box, sphere


def test_concentric_spheres():
    # Concentric spheres of radii 12 and 10: 2 mm everywhere; facets of the inscribed mesh miss R(1 − cos).
    result = compare(sphere(12.0, segments=256), sphere(10.0, segments=256), tolerance_mm=2.01)
    assert result.rms_mm == pytest.approx(2.0, abs=2e-3)
    assert result.mean_mm == pytest.approx(2.0, abs=2e-3)
    assert result.p95_mm == pytest.approx(2.0, abs=5e-3)
    assert (result.matched_share, result.within_share) == (1.0, pytest.approx(1.0))


def test_shifted_spheres():
    # A sphere moved by d along x against itself: at angle θ the distance is √(R² + d² + 2Rd cosθ) − R. Its
    # square averaged over the sphere, with u = cosθ uniform on −1 to 1:
    # R² + d² + R² − 2R · mean(√(R² + d² + 2Rdu)), the mean being ((R+d)³ − |R−d|³) / (6Rd).
    radius, shift = 10.0, 0.6
    result = compare(sphere(radius, center_mm=[shift, 0, 0], segments=256), sphere(radius, segments=256))
    mean_far = ((radius + shift) ** 3 - (radius - shift) ** 3) / (6 * radius * shift)
    exact = np.sqrt(2 * radius**2 + shift**2 - 2 * radius * mean_far)
    assert result.rms_mm == pytest.approx(exact, rel=3e-3)
    assert result.mean_mm == pytest.approx(mean_far - radius, abs=3e-3)
    assert result.largest_mm == pytest.approx(shift, rel=5e-3)
    # |d cosθ| is uniform on 0 to d to first order: the 95th percentile is 0.95 d.
    assert result.p95_mm == pytest.approx(0.95 * shift, rel=2e-2)


def test_map_against_vtk():
    pyvista = pytest.importorskip("pyvista")
    one, other = sphere(9.0, center_mm=[0.4, 0.2, 0], segments=60), sphere(8.5, segments=90)
    faces = np.column_stack([np.full(len(other.mesh.faces), 3), other.mesh.faces])
    surface = pyvista.PolyData(other.mesh.vertices, faces.ravel())
    reference = pyvista.PolyData(one.mesh.vertices).compute_implicit_distance(surface)["implicit_distance"]
    np.testing.assert_allclose(compare(one, other).distance_mm, reference, atol=1e-4)


@given(st.floats(0.1, 5.0), st.integers(0, 50))
@settings(deadline=None, max_examples=20, derandomize=True)
def test_figures_follow_the_values(scale, seed):
    values = np.random.default_rng(seed).normal(size=400) * scale
    result = deviation_of(values, np.ones(400), tolerance_mm=scale)
    assert result.rms_mm == pytest.approx(np.sqrt((values**2).mean()))
    assert result.within_share == pytest.approx((np.abs(values) <= scale).mean())
    assert result.p95_mm == pytest.approx(np.quantile(np.abs(values), 0.95, method="inverted_cdf"))
    assert result.bin_shares.sum() == pytest.approx(1.0)


def test_a_surface_facing_away_is_no_counterpart():
    # The lower face of a plate lies near the upper face of the one below, and faces it.
    upper, lower = box([20, 20, 1], center_mm=[0, 0, 1.2]), box([20, 20, 1])
    square = upper.mesh.vertices[upper.mesh.vertices[:, 2] < 1.0]
    assert len(square) == 4
    down = ScanMesh(vertices=square[np.lexsort(square.T)], faces=np.array([[0, 3, 1], [0, 2, 3]]))
    with pytest.raises(GeometryError, match="counterpart"):
        compare(down, box([10, 10, 1]), reach_mm=0.1)
    assert np.isfinite(compare(upper, lower).distance_mm).any()


def test_open_borders_and_reach_leave_places_unknown():
    patch = ScanMesh(
        vertices=np.array([[-1.0, -1, 0], [1, -1, 0], [1, 1, 0], [-1, 1, 0]]),
        faces=np.array([[0, 1, 2], [0, 2, 3]]),
    )
    result = compare(sphere(3.0, center_mm=[0, 0, -2.9], segments=64), patch, reach_mm=1.0)
    assert result.matched_share < 0.2
    assert [finding.code for finding in result.findings] == ["deviation-little-matched"]


def test_accuracy_and_tolerance_are_judged():
    ball = sphere(10.0, segments=64)
    result = compare(ball, ball, accuracy_mm=0.1, tolerance_mm=0.15)
    assert result.rms_mm < 1e-12
    assert {f.code for f in result.findings} == {"deviation-below-accuracy", "tolerance-below-accuracy"}
    assert result.as_dict()["histogram"]["shares"]


def test_public_names():
    assert mirrorprep.compare is compare
    assert vertex_areas(box([1, 2, 3]).mesh).sum() == pytest.approx(22.0)

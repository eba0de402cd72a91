"""Cutting polygons: area, winding and corners kept, against the shoelace formula and VTK."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mirrorprep.geometry import polygons
from mirrorprep.geometry.polygons import clip_ears, triangulate

STAR = [(np.cos(a) * r, np.sin(a) * r) for a, r in zip(np.arange(14) * np.pi / 7, [3, 1] * 7, strict=True)]
SHAPES = {
    "arrowhead": [(0, 0), (4, 3), (0, 1), (-4, 3)],
    "concave pentagon": [(0, 0), (4, 0), (4, 4), (2, 1), (0, 4)],
    "comb": [(0, 0), (6, 0), (6, 4), (5, 4), (5, 1), (4, 1), (4, 4), (2, 4), (2, 1), (1, 1), (1, 4), (0, 4)],
    "collinear": [(0, 0), (1, 0), (2, 0), (3, 0), (3, 1), (3, 2), (0, 2), (0, 1)],
    "star": STAR,
    "spiral": [
        *[(0, 0), (9, 0), (9, 9), (1, 9), (1, 3), (6, 3), (6, 6), (4, 6)],
        *[(4, 5), (5, 5), (5, 4), (2, 4), (2, 8), (8, 8), (8, 1), (0, 1)],
    ],
}


def lifted(shape):
    """Return the flat shape in a tilted plane away from the origin."""
    flat = np.column_stack([np.array(shape, dtype=float), np.zeros(len(shape))])
    axes = np.linalg.qr(np.array([[1.0, 2, 3], [-1, 1, 2], [0.5, 0, 1]]))[0]
    return flat @ axes.T + np.array([10.0, -20, 30])


def shoelace(shape):
    x, y = np.array(shape, dtype=float).T
    return abs((x * np.roll(y, -1) - y * np.roll(x, -1)).sum()) / 2


def triangle_areas(points, faces, towards):
    a, b, c = np.moveaxis(points[faces], 1, 0)
    return np.cross(b - a, c - a) @ towards / 2


def normal_of(points):
    total = np.cross(points, np.roll(points, -1, axis=0)).sum(axis=0)
    return total / np.linalg.norm(total)


@pytest.mark.parametrize("name", SHAPES)
@pytest.mark.parametrize("turn", [0, 1, 3])
@pytest.mark.parametrize("way", [1, -1])
def test_area_and_winding_are_kept(name, turn, way):
    shape = np.roll(np.array(SHAPES[name], dtype=float), turn, axis=0)[::way]
    points = lifted(shape)
    cut = triangulate(points, np.array([len(shape)]), np.arange(len(shape)))
    areas = triangle_areas(points, cut.faces, normal_of(points))
    assert len(cut.faces) == len(shape) - 2
    assert cut.forced == 0
    assert (areas > 1e-9).all()
    assert areas.sum() == pytest.approx(shoelace(shape), rel=1e-12)


def test_polygons_keep_their_order_and_neighbours():
    """A mesh of mixed polygons stays closed: every edge occurs once in each direction."""
    points = np.array([[x, y, z] for x in (0.0, 1) for y in (0.0, 1) for z in (0.0, 1)])
    polygons = [[0, 1, 3, 2], [4, 6, 7, 5], [0, 4, 5, 1], [2, 3, 7], [2, 7, 6], [0, 2, 6, 4], [1, 5, 7, 3]]
    cut = triangulate(points, np.array([len(p) for p in polygons]), np.concatenate(polygons))
    edges = {(f[k], f[(k + 1) % 3]) for f in cut.faces.tolist() for k in range(3)}
    assert len(edges) == 36
    assert all((b, a) in edges for a, b in edges)
    assert cut.faces[4:6].tolist() == [[0, 4, 5], [0, 5, 1]]
    assert (cut.fanned, cut.clipped, cut.forced, cut.short) == (5, 0, 0, 0)


def test_convex_polygons_are_fans_from_their_first_corner():
    shape = [(np.cos(a), np.sin(a)) for a in np.arange(9) * 2 * np.pi / 9]
    cut = triangulate(lifted(shape), np.array([9]), np.arange(9))
    assert cut.faces.tolist() == [[0, k, k + 1] for k in range(1, 8)]


def test_short_polygons_give_nothing_and_are_counted():
    cut = triangulate(np.eye(3), np.array([2, 3, 1, 0]), np.array([0, 1, 0, 1, 2, 2]))
    assert cut.faces.tolist() == [[0, 1, 2]]
    assert cut.short == 3


@pytest.mark.parametrize(
    "shape",
    [
        [(0, 0), (1, 0), (2, 0), (3, 0)],
        [(0, 0), (0, 0), (0, 0), (0, 0), (0, 0), (0, 0)],
        [STAR[2 * (3 * k % 7)] for k in range(7)],
    ],
    ids=["line", "point", "crossing star"],
)
def test_impossible_polygons_are_forced_and_counted(shape):
    cut = triangulate(lifted(shape), np.array([len(shape)]), np.arange(len(shape)))
    assert cut.forced == 1
    assert len(cut.faces) == len(shape) - 2


def test_huge_polygon_ends_in_bounded_time(monkeypatch):
    monkeypatch.setattr(polygons, "MAX_EAR_TESTS", 2000)
    count = 10_000
    angles = np.arange(count) * 2 * np.pi / count
    radii = np.where(np.arange(count) % 2, 1.0, 3.0)
    points = lifted(np.column_stack([radii * np.cos(angles), radii * np.sin(angles)]))
    cut = triangulate(points, np.array([count]), np.arange(count))
    assert cut.forced == 1
    assert len(cut.faces) == count - 2


def test_ears_run_out_on_a_line():
    assert clip_ears(np.column_stack([np.arange(4.0), np.zeros(4), np.zeros(4)]), [100]) is None


def test_tests_are_counted_over_all_polygons(monkeypatch):
    monkeypatch.setattr(polygons, "MAX_EAR_TESTS", 60)
    comb = lifted(SHAPES["comb"])
    cut = triangulate(comb, np.full(9, len(comb)), np.tile(np.arange(len(comb)), 9))
    assert cut.clipped >= 1
    assert cut.forced >= 5
    assert cut.clipped + cut.forced == 9


@settings(deadline=None, derandomize=True, max_examples=60)
@given(st.lists(st.floats(0.2, 3.0), min_size=4, max_size=24), st.integers(0, 2**32 - 1))
def test_star_shaped_polygons_of_any_size(radii, seed):
    angles = np.sort(np.random.default_rng(seed).uniform(0, 2 * np.pi, len(radii)))
    gaps = np.diff(np.append(angles, angles[0] + 2 * np.pi))
    if gaps.min() < 1e-3 or gaps.max() > 3.0:
        return  # corners that coincide, or a polygon that does not surround its centre
    shape = np.column_stack([radii * np.cos(angles), radii * np.sin(angles)])
    points = lifted(shape)
    cut = triangulate(points, np.array([len(radii)]), np.arange(len(radii)))
    areas = triangle_areas(points, cut.faces, normal_of(points))
    assert areas.sum() == pytest.approx(shoelace(shape), rel=1e-9)
    assert cut.forced == 0 or (areas < 1e-6).any()


def test_area_agrees_with_vtk():
    """Judge: the polygon filter of VTK (through pyvista)."""
    pyvista = pytest.importorskip("pyvista")
    points = lifted(SHAPES["comb"])
    judge = pyvista.PolyData(points, faces=[len(points), *range(len(points))]).triangulate().area
    cut = triangulate(points, np.array([len(points)]), np.arange(len(points)))
    assert np.abs(triangle_areas(points, cut.faces, normal_of(points))).sum() == pytest.approx(
        judge, rel=1e-6
    )

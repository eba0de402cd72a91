import numpy as np
import pytest

from mirrorprep.geometry.hole_filling import minimal_area_triangulation
from mirrorprep.geometry.patch_refinement import flip_to_delaunay, refine_patch, relax
from mirrorprep.geometry.topology import edge_table


def circle(count=60, radius=10.0, wave=0.0):
    turn = np.linspace(0, 2 * np.pi, count, endpoint=False)
    return np.column_stack([radius * np.cos(turn), radius * np.sin(turn), wave * np.cos(2 * turn)])


def quality(vertices, faces):
    """Return 4√3 area over summed squared sides: 1 for an equilateral triangle."""
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    doubled = np.linalg.norm(np.cross(b - a, c - a), axis=1)
    sides = sum(((p - q) ** 2).sum(axis=1) for p, q in ((a, b), (b, c), (c, a)))
    return 2.0 * np.sqrt(3.0) * doubled / sides


@pytest.mark.parametrize("wave", [0.0, 3.0])
def test_a_refined_patch_keeps_its_rim_and_has_even_triangles(wave):
    rim = circle(wave=wave)
    step = np.linalg.norm(rim[1] - rim[0])
    vertices, faces = refine_patch(rim, minimal_area_triangulation(rim), np.full(len(rim), step))
    np.testing.assert_array_equal(vertices[: len(rim)], rim)
    table = edge_table(faces)
    assert table.open.sum() == len(rim)
    assert not (table.non_manifold | table.inconsistent).any()
    length = np.linalg.norm(np.diff(vertices[table.edges], axis=1)[:, 0], axis=1)
    assert length.max() < 1.6 * step
    assert np.median(quality(vertices, faces)) > 0.85


def test_growth_makes_fewer_triangles_inside():
    rim = circle(120)
    target = np.full(120, 0.5)
    start = minimal_area_triangulation(rim)
    even, graded = (len(refine_patch(rim, start, target, growth=g)[1]) for g in (0.0, 0.4))
    assert graded < 0.4 * even


def test_a_plane_patch_stays_plane_and_covers_its_area():
    rim = circle()
    vertices, faces = refine_patch(rim, minimal_area_triangulation(rim), np.full(60, 1.0))
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    normal = np.cross(b - a, c - a)
    assert (normal[:, 2] > 0).all()
    assert np.abs(vertices[:, 2]).max() == 0.0
    assert normal[:, 2].sum() / 2.0 == pytest.approx(0.5 * 60 * 100 * np.sin(2 * np.pi / 60))


def test_flips_end_with_no_wrong_angle_and_respect_what_is_forbidden():
    rng = np.random.default_rng(2)
    rim = circle(30, wave=0.0) + np.column_stack([rng.normal(0, 0.2, (30, 2)), np.zeros(30)])
    faces = minimal_area_triangulation(rim)
    flat = flip_to_delaunay(rim, faces, np.zeros((0, 2), dtype=np.int64))
    scipy_spatial = pytest.importorskip("scipy.spatial")
    reference = {tuple(sorted(t)) for t in scipy_spatial.Delaunay(rim[:, :2]).simplices.tolist()}
    found = {tuple(sorted(t)) for t in flat.tolist()}
    assert len(found & reference) / len(found) > 0.9  # differs along the rim only, which is kept
    everything = np.stack(np.triu_indices(30, 1), axis=1)
    kept = flip_to_delaunay(rim, faces, everything)
    np.testing.assert_array_equal(kept, faces)


def test_only_thin_triangles_are_flipped_when_asked():
    kite = np.array([[0.0, 0, 0], [4, 0, 0], [2, 0.001, 0], [2, -1, 0]])
    two = np.array([[0, 1, 2], [1, 0, 3]])
    nothing = np.zeros((0, 2), dtype=np.int64)
    assert not np.array_equal(flip_to_delaunay(kite, two, nothing, thinner_than=1e-2), two)
    np.testing.assert_array_equal(flip_to_delaunay(kite, two, nothing, thinner_than=1e-5), two)


def test_relaxing_a_free_vertex_takes_it_to_the_middle_of_its_neighbours():
    corners = np.array([[0.0, 0, 0], [2, 0, 0], [2, 2, 0], [0, 2, 0], [1.7, 0.2, 5.0]])
    roof = np.array([[0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]])
    np.testing.assert_allclose(relax(corners, roof, 4, rounds=1)[4], [1, 1, 0])

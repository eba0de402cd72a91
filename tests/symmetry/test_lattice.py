"""Tabled nearest samples against a tree."""

import numpy as np
from scipy.spatial import KDTree

from mirrorprep.symmetry import lattice


def test_nearest_sample_of_a_class_to_within_a_cell(blob_cloud):
    grid = lattice.build(blob_cloud)
    rng = np.random.default_rng(1)
    places = rng.uniform(-0.4, 0.4, size=(500, 3))
    directions = rng.normal(size=(500, 3))
    number = lattice.normal_class(directions)
    cell = grid.cells(*places.T.astype(np.float32))
    found = grid.oriented[number * grid.count + cell]
    for k in range(6):
        sign = 1.0 if k % 2 == 0 else -1.0
        members = np.flatnonzero(sign * blob_cloud.smooth_normals[:, k // 2] > lattice.CLASS_COSINE)
        rows = np.flatnonzero(number == k)
        assert np.isin(found[rows], members).all()
        best = KDTree(blob_cloud.smooth_points[members]).query(places[rows])[0]
        tabled = np.linalg.norm(blob_cloud.smooth_points[found[rows]] - places[rows], axis=1)
        assert (tabled <= best + 2 * np.sqrt(3) * grid.cell).all()
    assert not grid.excused.any()


def test_places_outside_take_the_cell_at_the_edge(blob_cloud):
    grid = lattice.build(blob_cloud)
    far = grid.cells(*(np.array([v], dtype=np.float32) for v in (9.0, 9.0, 9.0)))
    assert far[0] == grid.count - 1


def test_classes_follow_the_largest_component():
    directions = np.array([[0.9, 0.1, 0], [-1, 0.5, 0], [0, 2, 1], [0, -2, 1], [0.1, 0, 1], [0, 0, -1.0]])
    assert lattice.normal_class(directions).tolist() == [0, 1, 2, 3, 4, 5]

"""Stratified sampling against area integrals in closed form."""

import numpy as np

from mirrorprep.geometry.sampling import stratified_points


def test_points_lie_on_their_faces_in_proportion_to_area():
    rng = np.random.default_rng(4)
    vertices, faces = rng.normal(size=(60, 3)), rng.integers(0, 60, size=(40, 3))
    a, b, c = np.moveaxis(vertices[faces], 1, 0)
    cross = np.cross(b - a, c - a)
    areas = np.linalg.norm(cross, axis=1) / 2
    points, face = stratified_points(vertices, faces, areas, count=5000, rng=np.random.default_rng(0))
    off = np.einsum("ij,ij->i", points - a[face], cross[face]) / (2 * areas[face])
    assert np.abs(off).max() < 1e-12
    share = np.bincount(face, minlength=len(faces)) / 5000
    np.testing.assert_allclose(share, areas / areas.sum(), atol=2 / 5000)


def test_second_moment_of_a_triangle():
    # Uniform over the unit right triangle: mean 1/3, mean of x² 1/6 (elementary integrals).
    corner = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0]])
    points, _ = stratified_points(
        corner, np.array([[0, 1, 2]]), np.array([0.5]), count=40_000, rng=np.random.default_rng(1)
    )
    np.testing.assert_allclose(points[:, :2].mean(axis=0), 1 / 3, atol=5e-3)
    np.testing.assert_allclose((points[:, :2] ** 2).mean(axis=0), 1 / 6, atol=5e-3)


def test_weightless_faces_get_no_point_even_at_the_end():
    corner = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0]])
    faces = np.array([[0, 0, 0], [0, 1, 2], [1, 1, 1]])
    face = stratified_points(corner, faces, np.array([0, 0.5, 0]), count=99, rng=np.random.default_rng(0))[1]
    assert set(face.tolist()) == {1}

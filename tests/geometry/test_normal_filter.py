import numpy as np

from mirrorprep.geometry.normal_filter import smoothed_vertices
from mirrorprep.solid.primitives import sphere


def options(count, **changed):
    return {"fixed": np.zeros(count, dtype=bool), "edge_angle_deg": 20.0, "most_mm": 1.0, **changed}


def noisy_ball(sd=0.05):
    ball = sphere(30.0, segments=96).mesh
    shift = np.random.default_rng(0).normal(0, sd, len(ball.vertices))
    return ball.vertices * (1 + shift / 30.0)[:, None], ball.faces


def lattice(count=40, sd=0.02):
    """A roof of two planes at a right angle, finely meshed, with noise."""
    x, y = np.meshgrid(np.arange(2 * count + 1.0), np.arange(count + 1.0))
    points = np.column_stack([x.ravel(), y.ravel(), np.abs(x.ravel() - count)])
    row, column = np.meshgrid(np.arange(count), np.arange(2 * count), indexing="ij")
    a = (row * (2 * count + 1) + column).ravel()
    b, c, d = a + 1, a + 2 * count + 2, a + 2 * count + 1
    faces = np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)])
    points[:, 2] += np.random.default_rng(0).normal(0, sd, len(points))
    return points, faces, count


def test_noise_goes_down_and_the_size_stays():
    vertices, faces = noisy_ball()
    smooth = smoothed_vertices(vertices, faces, **options(len(vertices)))
    before, after = (np.linalg.norm(v, axis=1) for v in (vertices, smooth))
    assert after.std() < 0.5 * before.std()
    assert abs(after.mean() - before.mean()) < 0.01


def test_a_right_angle_stays_sharp():
    points, faces, count = lattice()
    edge = (points[:, 0] == count) & (points[:, 1] > 3) & (points[:, 1] < count - 3)
    inner = (np.abs(points[:, 0] - count) > 4) & (points[:, 0] % (2 * count) > 4)
    rim = np.isin(points[:, 1], [0, count]) | np.isin(points[:, 0], [0, 2 * count])
    smooth = smoothed_vertices(points, faces, **options(len(points), fixed=rim))
    truth = np.abs(smooth[:, 0] - count)
    before = points[:, 2] - np.abs(points[:, 0] - count)
    assert (smooth[:, 2] - truth)[inner].std() < 0.4 * before[inner].std()
    assert np.abs(smooth[edge, 2] - np.abs(smooth[edge, 0] - count)).mean() < 0.03
    assert abs(smooth[edge, 2].mean()) < 0.03


def test_no_vertex_moves_further_than_allowed_and_fixed_ones_do_not_move():
    vertices, faces = noisy_ball(0.3)
    fixed = np.arange(len(vertices)) % 7 == 0
    smooth = smoothed_vertices(vertices, faces, **options(len(vertices), fixed=fixed, most_mm=0.04))
    assert np.linalg.norm(smooth - vertices, axis=1).max() <= 0.04
    np.testing.assert_array_equal(smooth[fixed], vertices[fixed])

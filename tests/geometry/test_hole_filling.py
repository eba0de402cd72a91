"""Least-area triangulations against closed forms and exhaustive search."""

from functools import cache

import numpy as np
import pytest

from mirrorprep.geometry.hole_filling import MOST_CORNERS, minimal_area_triangulation
from mirrorprep.geometry.topology import edge_table


def area(points, faces):
    a, b, c = (points[faces[:, k]] for k in range(3))
    return np.linalg.norm(np.cross(b - a, c - a), axis=1).sum() / 2.0


def rim_is_kept(faces, count):
    table = edge_table(faces)
    ring = {tuple(sorted((i, (i + 1) % count))) for i in range(count)}
    return {tuple(e) for e in table.edges[table.open].tolist()} == ring and not table.inconsistent.any()


def least_by_search(points):
    @cache
    def best(i, j):
        if j - i < 2:
            return 0.0
        return min(best(i, k) + best(k, j) + area(points, np.array([[i, k, j]])) for k in range(i + 1, j))

    return best(0, len(points) - 1)


@pytest.mark.parametrize("seed", range(6))
def test_no_triangulation_has_less_area(seed):
    rng = np.random.default_rng(seed)
    turn = np.linspace(0, 2 * np.pi, 13, endpoint=False)
    points = np.column_stack([np.cos(turn), np.sin(turn), rng.normal(0, 0.4, 13)])
    faces = minimal_area_triangulation(points)
    assert len(faces) == 11
    assert rim_is_kept(faces, 13)
    assert area(points, faces) == pytest.approx(least_by_search(points))


@pytest.mark.parametrize("count", [100, MOST_CORNERS + 37, 3 * MOST_CORNERS])
def test_a_plane_star_is_covered_exactly_once(count):
    turn = np.linspace(0, 2 * np.pi, count, endpoint=False)
    reach = 2.0 + np.cos(5 * turn)
    points = np.column_stack([reach * np.cos(turn), reach * np.sin(turn), 0 * turn])
    faces = minimal_area_triangulation(points)
    x, y = points[:, 0], points[:, 1]
    shoelace = 0.5 * np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))
    assert len(faces) == count - 2
    assert rim_is_kept(faces, count)
    limit = 1e-9 if count <= MOST_CORNERS else 0.02
    assert area(points, faces) == pytest.approx(shoelace, rel=limit)


def test_forbidden_chords_are_not_drawn():
    square = np.array([[0.0, 0, 0], [1, 0, 0], [1, 1, 0.1], [0, 1, 0]])
    for chord in ([0, 2], [1, 3]):
        faces = minimal_area_triangulation(square, forbidden=np.array([chord]))
        edges = {tuple(e) for e in edge_table(faces).edges.tolist()}
        assert tuple(chord) not in edges

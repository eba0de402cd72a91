"""Open edges by position against the edge table by index."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from mirrorprep.geometry.open_border import open_edges, position_hash
from mirrorprep.geometry.topology import edge_table
from mirrorprep.solid.primitives import sphere


@settings(deadline=None, max_examples=20, derandomize=True)
@given(seed=st.integers(0, 10_000), drop=st.integers(0, 40))
def test_same_edges_welded_or_not(seed, drop):
    mesh = sphere(5.0, segments=16).mesh
    rng = np.random.default_rng(seed)
    faces = mesh.faces[rng.permutation(len(mesh.faces))[drop:]]
    table = edge_table(faces)
    expected = {tuple(edge) for edge in np.round(mesh.vertices[table.edges[table.open]].mean(axis=1), 9)}
    for vertices, index in (
        (mesh.vertices, faces),
        (mesh.vertices[faces].reshape(-1, 3), np.arange(faces.size).reshape(-1, 3)),
    ):
        edges = open_edges(vertices, index)
        start = vertices[index[edges[:, 0], edges[:, 1]]]
        stop = vertices[index[edges[:, 0], (edges[:, 1] + 1) % 3]]
        assert {tuple(edge) for edge in np.round((start + stop) / 2, 9)} == expected
        assert len(edges) == int(table.open.sum())


def test_hash_is_even():
    # Birthday bound: among 3e5 different positions an equal 64-bit number has probability 2e-9.
    grid = np.stack(np.meshgrid(*[np.arange(67.0)] * 3), axis=-1).reshape(-1, 3)
    numbers = position_hash(grid)
    assert len(np.unique(numbers)) == len(grid)
    assert len(np.unique(position_hash(grid[:, [1, 0, 2]]))) == len(grid)


def test_no_faces():
    assert open_edges(np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int64)).shape == (0, 2)

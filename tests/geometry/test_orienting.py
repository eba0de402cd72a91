import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from mirrorprep.geometry.orienting import faces_to_flip, paired_half_edges, pieces
from mirrorprep.geometry.topology import edge_table
from mirrorprep.solid.primitives import sphere


@settings(deadline=None, max_examples=20, derandomize=True)
@given(st.integers(0, 1000), st.floats(0.0, 0.45))
def test_turning_the_marked_faces_back_makes_neighbours_agree(seed, share):
    ball = sphere(10.0, segments=24).mesh
    spoilt = np.array(ball.faces)
    turned = np.random.default_rng(seed).random(len(spoilt)) < share
    spoilt[turned] = spoilt[turned][:, ::-1]
    flip = faces_to_flip(spoilt, np.ones(len(spoilt)))
    mended = np.where(flip[:, None], spoilt[:, ::-1], spoilt)
    assert edge_table(mended).inconsistent.sum() == 0
    assert flip.sum() == min(turned.sum(), (~turned).sum())


def test_a_moebius_band_is_left_as_it_stands():
    count = 12
    top, bottom = np.arange(count), np.arange(count) + count
    after = np.append(top[1:], bottom[0]), np.append(bottom[1:], top[0])
    faces = np.concatenate([np.stack([top, bottom, after[0]], 1), np.stack([bottom, after[1], after[0]], 1)])
    assert not faces_to_flip(faces, np.ones(len(faces))).any()


def test_pieces_part_at_edges_of_three_triangles():
    fin = np.array([[0, 1, 2], [1, 0, 3], [0, 1, 4], [3, 0, 5]])
    assert pieces(fin).tolist() == [0, 1, 2, 1]
    one, _, alike = paired_half_edges(fin)
    assert len(one) == 1
    assert not alike.any()

import numpy as np

from mirrorprep.condition.faults import repeats, zero_area
from mirrorprep.solid.primitives import box


def test_zero_area_is_exact():
    corners = np.array([[0.0, 0, 0], [1, 0, 0], [2, 0, 0], [2, 1e-300, 0]])
    faces = np.array([[0, 1, 2], [0, 1, 1], [0, 2, 3]])
    assert zero_area(corners, faces).tolist() == [True, True, False]


def test_repeats_ignore_order_and_direction():
    faces = np.array([[4, 7, 9], [9, 4, 7], [7, 4, 9], [4, 7, 8]])
    group = repeats(faces)
    assert group.extra.tolist() == [1, 2]
    assert sorted(group.size.tolist()) == [1, 3]


def test_vertex_numbers_too_large_for_one_key_are_told_apart():
    far = (1 << 21) + np.array([[1, 2, 3], [3, 2, 1], [1, 2, 4]])
    assert repeats(far).extra.tolist() == [1]


def test_a_sound_box_has_neither():
    mesh = box([1, 2, 3]).mesh
    assert not zero_area(mesh.vertices, mesh.faces).any()
    assert len(repeats(mesh.faces).extra) == 0

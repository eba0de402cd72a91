"""Booleans and moves against closed forms."""

import numpy as np
import pytest

from mirrorprep.geometry.reflection import reflection_matrix
from mirrorprep.solid.certify import examine
from mirrorprep.solid.primitives import box, frame_along, frustum, prism, sphere
from mirrorprep.solid.solid import difference, union


def test_lens_of_two_spheres():
    """R₁ = 10, R₂ = 8, d = 12: V = 442.964564 mm³ (closed form); faceted, so slightly less."""
    lens = sphere(10, segments=256) & sphere(8, center_mm=[12, 0, 0], segments=256)
    assert lens.volume_mm3 == pytest.approx(442.964564, rel=1e-3)
    assert lens.volume_mm3 < 442.964564


def test_steinmetz_body():
    """Two crossed cylinders r = 10: V = 16r³/3 = 5333.333 (closed form; 256-gon −1.5e-4)."""
    rod = frustum([0, 0, -20], [0, 0, 20], start_radius_mm=10, stop_radius_mm=10, segments=256)
    cross = frustum([-20, 0, 0], [20, 0, 0], start_radius_mm=10, stop_radius_mm=10, segments=256)
    assert (rod & cross).volume_mm3 == pytest.approx(5333.333333 * (1 - 1.5e-4), rel=3e-5)


def test_union_difference_split_keep_the_volume():
    block, tool = box([10, 10, 10]), box([4, 4, 20])
    inside, outside = block.split(tool)
    assert inside.volume_mm3 + outside.volume_mm3 == pytest.approx(1000.0, rel=1e-14)
    assert difference(block, [tool]).volume_mm3 == pytest.approx(840.0)
    assert difference(block, []) is block
    assert union([block, tool]).volume_mm3 == pytest.approx(1160.0)
    above, below = block.split_by_plane([0, 0, 2], 3.0)
    assert (above.volume_mm3, below.volume_mm3) == pytest.approx((200.0, 800.0))
    assert (block & box([1, 1, 1], center_mm=[50, 0, 0])).is_empty


def test_reflection_keeps_a_solid_right_side_out():
    part = box([1, 2, 3], center_mm=[5, 0, 0]) + box([3, 1, 1], center_mm=[6, 0, 0])
    image = part.transformed(reflection_matrix([1, 1, 0], 2.0))
    assert examine(image.mesh).solid
    assert image.volume_mm3 == pytest.approx(part.volume_mm3, rel=1e-14)


def test_fragments_come_largest_first():
    pieces = (box([1, 1, 1]) + box([2, 2, 2], center_mm=[9, 0, 0])).fragments()
    assert [piece.volume_mm3 for piece in pieces] == pytest.approx([8.0, 1.0])


def test_prism_and_frame():
    assert prism([[0, 0], [4, 0], [0, 3]], -1.0, 1.0).volume_mm3 == pytest.approx(12.0)
    for direction in ([0, 0, 1], [1, 0, 0], [-0.3, 0.8, -2.0]):
        frame = frame_along(direction)
        assert frame @ frame.T == pytest.approx(np.eye(3), abs=1e-14)
        assert np.linalg.det(frame) == pytest.approx(1.0)
        assert frame[:, 2] == pytest.approx(np.array(direction) / np.linalg.norm(direction))


def test_simplified_removes_flat_vertices_only_within_tolerance():
    fine = sphere(10, segments=128)
    coarse = fine.simplified(0.05)
    assert len(coarse.mesh.faces) < len(fine.mesh.faces) / 2
    assert coarse.volume_mm3 == pytest.approx(fine.volume_mm3, rel=0.02)


def test_hollow_belongs_to_the_piece_around_it():
    shell = box([30, 30, 30]) - box([10, 10, 10])
    inner = box([4, 4, 4]) - box([2, 2, 2])
    beside = box([20, 20, 20], center_mm=[50, 0, 0]) - box([6, 6, 6], center_mm=[50, 0, 0])
    pieces = (shell + inner + beside).fragments()
    assert [piece.volume_mm3 for piece in pieces] == pytest.approx([26000.0, 7784.0, 56.0])
    assert (pieces[0] & box([10, 10, 10])).volume_mm3 == pytest.approx(0.0, abs=1e-9)


def test_simplified_body_loses_nothing_when_it_is_cut():
    # The kernel keeps the numbers of flat faces through `simplify`; a later cut then flattens across edges.
    coarse = (sphere(10, segments=48) & sphere(8, center_mm=[12, 0, 0], segments=48)).simplified(0.1)
    for offset in np.linspace(-12.0, 12.0, 9):
        above, below = coarse.split_by_plane([0.1, 0.2, 1.0], offset)
        assert above.volume_mm3 + below.volume_mm3 == pytest.approx(coarse.volume_mm3, rel=1e-13)

import numpy as np
import pytest

from mirrorprep.errors import BooleanFailedError
from mirrorprep.solid.gap import least_gap_mm
from mirrorprep.solid.primitives import box, sphere
from mirrorprep.solid.section import (
    disc,
    hull_section,
    hull_solid,
    level_section,
    merged,
    polygon,
    rectangle,
    shifted,
    silhouette,
)


def test_offset_follows_steiners_formula_in_the_plane():
    # Steiner: A(t) = A + P t + π t² for a convex region; arcs of 48 segments stay a little below.
    plate = rectangle([0, 0], [30, 20]).offset(5.0)
    exact = 600 + 100 * 5 + np.pi * 25
    assert exact * (1 - 2e-3) < plate.area_mm2 < exact
    assert rectangle([0, 0], [30, 20]).offset(-5.0).area_mm2 == pytest.approx(20 * 10)
    assert rectangle([0, 0], [30, 20]).offset(0.0).area_mm2 == pytest.approx(600)


def test_disc_is_inscribed():
    # Area of a regular n-gon: n r² sin(2π/n) / 2.
    assert disc((3, 4), 2.0, segments=24).area_mm2 == pytest.approx(24 * 2 * np.sin(np.pi / 12))


def test_shadow_and_cut_of_a_ball():
    ball = sphere(10.0, segments=128)
    assert silhouette(ball).area_mm2 == pytest.approx(np.pi * 100, rel=2e-3)
    assert level_section(ball, 6.0).area_mm2 == pytest.approx(np.pi * 64, rel=3e-3)
    assert level_section(ball, 20.0).is_empty


def test_booleans_and_loops():
    ring = rectangle([0, 0], [4, 4]) - rectangle([1, 1], [3, 3])
    assert ring.area_mm2 == pytest.approx(12)
    assert len(ring.loops) == 2
    assert (ring & rectangle([0, 0], [4, 1])).area_mm2 == pytest.approx(4)
    assert (ring + rectangle([1, 1], [3, 3])).area_mm2 == pytest.approx(16)
    assert merged([ring, rectangle([10, 10], [11, 11])]).area_mm2 == pytest.approx(13)
    assert shifted(ring, (5, 6)).bounds_mm.tolist() == [[5, 6], [9, 10]]


def test_points_in_a_ring():
    ring = rectangle([0, 0], [4, 4]) - rectangle([1, 1], [3, 3])
    assert ring.contains([[0.5, 2], [2, 2], [5, 5], [3.5, 3.5]]).tolist() == [True, False, False, True]


def test_either_way_round_is_the_same_region():
    square = np.array([[0, 0], [2, 0], [2, 2], [0, 2.0]])
    assert polygon(square).area_mm2 == polygon(square[::-1]).area_mm2 == pytest.approx(4)


def test_prism_over_a_region():
    ring = rectangle([0, 0], [4, 4]) - rectangle([1, 1], [3, 3])
    body = ring.extruded(-1.0, 2.0)
    assert body.volume_mm3 == pytest.approx(36)
    assert body.bounds_mm[:, 2].tolist() == [-1.0, 2.0]


def test_hulls():
    assert hull_section([[0, 0], [2, 0], [0, 2], [0.1, 0.1]]).area_mm2 == pytest.approx(2)
    with pytest.raises(BooleanFailedError, match="span no volume"):
        hull_solid(np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [1, 1, 0.0]]))


def test_gap_between_balls():
    # Faceted balls with vertices on the common axis: the gap is exact.
    gap = least_gap_mm(sphere(5.0), sphere(5.0, center_mm=[0, 0, 12]), reach_mm=10.0)
    assert gap == pytest.approx(2.0, abs=1e-9)
    assert least_gap_mm(box([2, 2, 2]), box([2, 2, 2]), reach_mm=1.0) == 0.0
    assert least_gap_mm(box([2, 2, 2]), box([2, 2, 2], center_mm=[50, 0, 0]), reach_mm=1.0) == 1.0

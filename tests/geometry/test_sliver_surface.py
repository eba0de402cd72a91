import numpy as np
import pytest

from mirrorprep.geometry.sliver_surface import SliverSurface, heights

# A flat square whose lower side carries a vertex in its middle, about a vertex in the middle of all.
FLAT = np.array([[0.0, 0, 0], [1, 0, 0], [2, 0, 0], [2, 2, 0], [0, 2, 0], [1, 1, 0]]) + [70.0, 40.0, 60.0]
FAN = np.array([[5, 0, 1], [5, 1, 2], [5, 2, 3], [5, 3, 4], [5, 4, 0]])
ULP = float(np.spacing(np.float32(72.0)))


def surface(vertices, fixed=None):
    at = SliverSurface(vertices, FAN, fixed)
    at.watched[:] = True
    at.index()
    return at


def test_vertex_slides_within_its_plane():
    assert surface(FLAT).slides(5, 1)
    assert surface(FLAT).slides(5, 3)


def test_no_slide_makes_a_sliver():
    # At corner 0 the face 5-1-2 would become three points of one line.
    assert not surface(FLAT).slides(5, 0)
    # So it would with the middle just below that line, although the face would not turn over.
    bowed = FLAT.copy()
    bowed[1, 1] -= 0.5 * ULP
    assert not surface(bowed).slides(5, 0)


@pytest.mark.parametrize(("rise_ulp", "slides"), [(0.5, True), (3.0, False), (1e5, False)])
def test_vertex_off_the_plane_stays(rise_ulp, slides):
    raised = FLAT.copy()
    raised[5, 2] += rise_ulp * ULP
    assert surface(raised).slides(5, 1) is slides


def test_no_slide_turns_a_face_over():
    # The side from 3 to 4 drawn in below the middle of the line from 1 to it: face 5-3-4 would turn over.
    dented = FLAT.copy()
    dented[[3, 4]] = dented[1] + [[2.0, -1.0, 0.0], [-2.0, -1.0, 0.0]]
    dented[5] = dented[1] + [0.0, -2.0, 0.0]
    assert not surface(dented).slides(5, 1)


def test_fixed_vertex_stays():
    assert not surface(FLAT, np.ones(len(FLAT), dtype=bool)).slides(5, 1)


def test_slivers_are_those_that_rounding_can_turn_over():
    for height_ulp, found in ((0.5, 2), (50.0, 0)):
        low = FLAT.copy()
        low[5] = [71.0, 40.0 + height_ulp * ULP, 60.0]
        # Both faces at the lower side are as low as that.
        assert len(surface(low).slivers()) == found


def test_heights_are_over_the_longest_side():
    corners = np.array([[[0.0, 0, 0], [3, 0, 0], [3, 4, 0]], [[0.0, 0, 0], [1, 0, 0], [2, 0, 0]]])
    assert heights(corners) == pytest.approx([12.0 / 5.0, 0.0])

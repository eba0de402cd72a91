"""The picture's geometry: scale, places, depth and what is seen."""

import numpy as np
import pytest

from mirrorprep.handover.panel import Body, View, draw, fitting_scale
from mirrorprep.solid.primitives import box, sphere

FRONT = View(toward=(0, -1, 0))


def as_body(solid, **options):
    return Body(vertices=solid.mesh.vertices, faces=solid.mesh.faces, **options)


def test_scale_is_honest(drawing):
    # a ball of radius 10 mm covers π · 100 mm², whatever the direction
    ball = sphere(10, segments=256)
    for toward in ((0, -1, 0), (1, 2, 3)):
        shot = draw([as_body(ball)], View(toward=toward), size_px=(400, 300))
        covered = (shot.identity == 0).sum() * shot.mm_per_px**2
        assert covered == pytest.approx(np.pi * 100, rel=0.01)


def test_the_body_fills_the_frame_but_for_the_margin(drawing):
    shot = draw([as_body(box([40, 5, 10]))], FRONT, size_px=(400, 400))
    rows, columns = np.nonzero(shot.identity == 0)
    assert np.ptp(columns) + 1 == pytest.approx(400 * 0.88, abs=2)
    assert np.ptp(rows) + 1 == pytest.approx(400 * 0.88 / 4, abs=2)
    assert fitting_scale([as_body(box([40, 5, 10]))], FRONT, (400, 400)) == shot.mm_per_px


def test_places_and_depth(drawing):
    shot = draw([as_body(box([40, 6, 20]))], FRONT, size_px=(400, 400))
    corner, middle = shot.place([[-20, -3, 10], [0, -3, 0]])
    rows, columns = np.nonzero(shot.identity == 0)
    assert corner[0] == pytest.approx(columns.min() - 0.5, abs=1)
    assert corner[1] == pytest.approx(rows.min() - 0.5, abs=1)
    assert middle[:2] == pytest.approx([199.5, 199.5])
    assert shot.depth_mm[200, 200] == pytest.approx(middle[2], abs=1e-3)
    assert np.isinf(shot.depth_mm[0, 0])


def test_what_is_behind_is_not_seen(drawing):
    shot = draw([as_body(sphere(10))], FRONT, size_px=(200, 200))
    assert shot.visible([[0, -10, 0], [0, 10, 0], [0, 0, 0]], slack_mm=0.3).tolist() == [True, False, False]


def test_identity_tells_many_bodies_apart(drawing):
    cubes = [as_body(box([1, 1, 1], center_mm=[3 * i, 0, 0])) for i in range(12)]
    shot = draw(cubes, FRONT, size_px=(600, 60))
    assert np.unique(shot.identity).tolist() == [-1, *range(12)]


def test_translucent_bodies_let_see_through(drawing):
    inner, shell = as_body(sphere(3), color="#a8492c"), sphere(10)
    through = draw([inner, as_body(shell, opacity=0.2)], FRONT, size_px=(200, 200))
    hidden = draw([inner, as_body(shell)], FRONT, size_px=(200, 200))
    assert (through.identity == 0).sum() > 500
    assert (hidden.identity == 0).sum() == 0
    red, _, blue = (int(value) for value in through.image[100, 100])
    assert red > blue + 40


def test_colours_per_vertex_and_per_face(drawing):
    cube = box([10, 10, 10]).mesh
    for count in (len(cube.vertices), len(cube.faces)):
        colors = np.tile(np.array([[0, 0, 200]], dtype=np.uint8), (count, 1))
        shot = draw([Body(vertices=cube.vertices, faces=cube.faces, colors=colors)], FRONT, size_px=(60, 60))
        red, _, blue = (int(value) for value in shot.image[30, 30])
        assert blue > 100 > red


def test_far_from_the_origin_looks_the_same(drawing):
    near = draw([as_body(sphere(10))], FRONT, size_px=(200, 200))
    far = draw([as_body(sphere(10).translated([5e4, -3e4, 1e4]))], FRONT, size_px=(200, 200))
    assert np.abs(near.image.astype(int) - far.image).max() <= 12


def test_looking_straight_along_up_still_gives_axes():
    axes = View(toward=(0, 0, 1), up=(0, 0, 1)).axes()
    np.testing.assert_allclose(axes @ axes.T, np.eye(3), atol=1e-12)
    assert np.linalg.det(axes) == pytest.approx(1)


def test_same_input_same_picture(drawing):
    shots = [draw([as_body(sphere(10))], FRONT, size_px=(200, 200)) for _ in range(2)]
    np.testing.assert_array_equal(shots[0].image, shots[1].image)

"""Vents at all summits."""

import numpy as np
import pytest

from mirrorprep.geometry.air_pockets import trapped_air
from mirrorprep.geometry.vent_places import place_vents
from mirrorprep.solid.primitives import box, frustum, sphere
from mirrorprep.solid.solid import union


def tower(x, y, top, radius=3.0):
    return frustum([x, y, 1], [x, y, top], start_radius_mm=radius, stop_radius_mm=radius)


@pytest.fixture(scope="module")
def city():
    """A plate with a tall tower, and a block that carries two towers of its own."""
    block = box([24, 10, 12], center_mm=[14, 0, 6])
    parts = [
        box([60, 30, 4], center_mm=[0, 0, 2]),
        block,
        tower(-20, 0, 30),
        tower(8, 0, 20),
        tower(20, 0, 18),
    ]
    return union(parts).mesh


def test_a_summit_behind_a_summit_gets_its_own_vent(city):
    places = place_vents(city.vertices, city.faces, up=(0, 0, 1))
    assert len(places.bare.unvented) == 1
    assert len(places.vents_mm) == 2
    assert sorted(round(x) for x, _, _ in places.vents_mm) == [8, 20]
    assert all(p.volume_mm3 <= 5.0 for p in places.vented.unvented)
    assert np.allclose(places.sprue_mm, (-20, 0, 30), atol=3.1)


def test_the_stated_sprue_is_kept(city):
    places = place_vents(city.vertices, city.faces, up=(0, 0, 1), sprue=((8, 0, 20), 1.0))
    assert places.sprue_mm == (8, 0, 20)
    assert sorted(round(x) for x, _, _ in places.vents_mm) == [-20, 20]


def test_the_places_hold_in_a_fresh_analysis(city):
    turn = np.linalg.qr(np.random.default_rng(3).normal(size=(3, 3)))[0]
    vertices = city.vertices @ turn.T
    faces = city.faces if np.linalg.det(turn) > 0 else city.faces[:, ::-1]
    up = turn @ (0.1, 0.05, 1.0)
    places = place_vents(vertices, faces, up=up)
    openings = [(p, 0.0) for p in (places.sprue_mm, *places.vents_mm)]
    again = trapped_air(vertices, faces, up=up, openings=openings, spacing_mm=0.15)
    assert all(p.volume_mm3 <= 5.0 for p in again.unvented)


def test_a_bead_needs_no_vent():
    ball = sphere(8.0).mesh
    assert place_vents(ball.vertices, ball.faces, up=(0, 1, 0)).vents_mm == ()

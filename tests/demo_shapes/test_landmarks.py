"""Rays and landmarks."""

import numpy as np

from demo_shapes.fields import ball
from demo_shapes.landmarks import ear_landmarks, face_landmarks, hit, hits


def unit_ball(points):
    return ball(points, (0, 0, 0), 2.0)


def test_rays_find_the_near_side_and_say_when_they_miss():
    found = hits(unit_ball, [[9, 0, 0], [9, 1, 0], [9, 5, 0]], (-2, 0, 0), length_mm=20)
    assert np.allclose(found[:2], [[2, 0, 0], [np.sqrt(3), 1, 0]], atol=1e-6)
    assert np.isnan(found[2]).all()
    assert np.allclose(hit(unit_ball, (0, 0, 9), (0, 0, -1), length_mm=9), [0, 0, 2], atol=1e-6)


def test_landmarks_keep_the_order_of_a_profile():
    # Definitions: PMC4836697 table 1, PMC2666135 table 1, PMC8192579 table 1.
    marks = {name: np.array(place) for name, place in face_landmarks().items()}
    down = ["glabella", "nasion", "pronasale", "subnasale", "pogonion", "gnathion"]
    assert np.all(np.diff([marks[name][2] for name in down]) < 0)
    assert max(marks, key=lambda name: marks[name][1]) == "pronasale"  # the most protruded point
    assert marks["nasion"][1] < marks["glabella"][1]
    assert marks["exocanthion"][0] > marks["endocanthion"][0] > 0
    assert marks["cheilion"][0] > marks["alare"][0]


def test_ear_landmarks_lie_where_their_names_say():
    marks = {name: np.array(place) for name, place in ear_landmarks().items()}
    assert max(marks, key=lambda name: marks[name][1]) == "superaurale"
    assert min(marks, key=lambda name: marks[name][1]) == "subaurale"
    assert max(marks, key=lambda name: marks[name][0]) == "preaurale"
    assert min(marks, key=lambda name: marks[name][0]) == "postaurale"
    assert max(marks, key=lambda name: marks[name][2]) == "helix_lateral"

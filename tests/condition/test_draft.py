import json

import numpy as np

from mirrorprep.condition.draft import MOST_PLACES, Draft, MendStep, places
from mirrorprep.solid.primitives import box


def test_adding_and_keeping_hold_the_source_of_each_face():
    mesh = box([1, 2, 3]).mesh
    draft = Draft.of(mesh)
    grown = draft.adding(np.array([[9.0, 9, 9]]), np.array([[0, 1, 8]]))
    assert grown.source.tolist() == [*range(12), -1]
    assert len(grown.vertices) == 9
    assert grown.keeping(np.arange(13) >= 11).source.tolist() == [11, -1]
    assert len(draft.faces) == 12


def test_moving_sums_up_for_vertices_of_the_scan_and_changes_no_input():
    draft = Draft.of(box([2, 2, 2]).mesh).adding(np.zeros((1, 3)), np.array([[0, 1, 8]]))
    rows = np.array([0, 8])
    moved = draft.with_moved(rows, draft.vertices[rows] + [3.0, 0, 4]).with_moved(rows, draft.vertices[rows])
    assert moved.moved_mm.tolist() == [10.0] + [0.0] * 7
    np.testing.assert_array_equal(moved.vertices, draft.vertices)
    assert not draft.moved_mm.any()


def test_areas_of_a_box():
    assert abs(Draft.of(box([1, 2, 3]).mesh).areas_mm2().sum() - 22.0) < 1e-12


def test_places_are_few_and_spread_and_steps_are_plain_data():
    line = np.arange(300.0).reshape(100, 3)
    chosen = places(line)
    assert len(chosen) == MOST_PLACES
    assert chosen[0] == (0.0, 1.0, 2.0)
    assert chosen[-1] == (297.0, 298.0, 299.0)
    assert places(np.zeros((0, 3))) == ()
    step = MendStep(name="weld", changed=True, summary="Done.", counts={"joined": 2}, where=chosen[:1])
    assert json.loads(json.dumps(step.as_dict()))["where"] == [[0.0, 1.0, 2.0]]

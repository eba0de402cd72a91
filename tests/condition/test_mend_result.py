import json

from mirrorprep import mend
from mirrorprep.solid.finding import Severity
from mirrorprep.solid.primitives import sphere


def test_plain_data_names_what_the_account_says():
    ball = sphere(20.0).mesh
    result = mend(ball.with_geometry(ball.vertices, ball.faces[5:]))
    plain = json.loads(json.dumps(result.as_dict()))
    assert plain["solid"] is True
    assert plain["volume_mm3"] == result.solid.volume_mm3
    assert plain["self_intersections"] == 0
    assert [step["name"] for step in plain["steps"]] == [step.name for step in result.steps]
    for name in ("moved_share", "max_displacement_mm", "rms_displacement_mm", "added_share", "dropped_share"):
        assert plain[name] == getattr(result, name)
    assert plain["volume_change_mm3"] is None
    assert len(result.made) == len(result.mesh.faces)
    assert 0 < result.made.sum() < 40


def test_notes_are_the_steps_that_changed_something_with_their_places():
    ball = sphere(20.0).mesh
    result = mend(ball.with_geometry(ball.vertices, ball.faces[5:]))
    changed = [step for step in result.steps if step.changed]
    assert "fill-holes" in [step.name for step in changed]
    assert [(note.code, note.where) for note in result.notes] == [(step.name, step.where) for step in changed]
    assert {note.severity for note in result.notes} == {Severity.NOTE}
    assert mend(ball).notes == ()

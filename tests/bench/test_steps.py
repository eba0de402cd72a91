"""How far each step has come: empty, ready, done, stale, stopped or left out."""

import pytest

from mirrorprep.bench.steps import STEPS, Standing, step_named
from mirrorprep.job.jobfile import job_from
from mirrorprep.job.records import Glance, StageRecord
from mirrorprep.solid.finding import Finding, Severity

STAGES = ("intake", "condition", "symmetry", "measurement", "mould", "pour", "handover")
KEYS = {stage: f"now {stage}" for stage in STAGES}


def kept(*stages, key="now", findings=()):
    return {
        stage: Glance(
            key=f"{key} {stage}",
            record=StageRecord(name=stage, figures={"size_mm": (1.0, float("nan"))}, findings=findings),
            triangles={"scan": 12} if stage == "intake" else {},
        )
        for stage in stages
    }


def states(standing):
    return {step.name: standing.state(step) for step in STEPS}


def test_the_first_step_is_ready_and_the_others_empty():
    found = states(Standing(keys=KEYS, kept={}, job=job_from({})))
    assert found.pop("scan") == "ready"
    assert found.pop("seat") == "left out"
    assert set(found.values()) == {"empty"}


def test_a_job_that_cannot_run_leaves_nothing_ready():
    found = states(Standing(keys={}, kept=kept("intake"), job=None))
    assert found.pop("scan") == "stale"
    assert set(found.values()) == {"empty"}


def test_the_next_step_is_ready_and_what_has_another_key_is_stale():
    held = {**kept("intake", "condition"), **kept("mould", key="then")}
    found = states(Standing(keys=KEYS, kept=held, job=job_from({})))
    assert (found["condition"], found["plane"], found["mirror"]) == ("done", "ready", "ready")
    assert (found["measure"], found["parting"], found["mould"]) == ("empty", "empty", "stale")


@pytest.mark.parametrize(("waived", "state", "after"), [([], "stopped", "empty"), (["x"], "done", "ready")])
def test_a_stop_holds_back_what_follows_until_it_is_waived(waived, state, after):
    stop = Finding(code="x", severity=Severity.STOP, message="No.")
    held = {**kept("intake"), **kept("condition", findings=(stop,))}
    standing = Standing(keys=KEYS, kept=held, job=job_from({"waive": {"codes": waived}}))
    found = states(standing)
    assert (found["condition"], found["plane"]) == (state, after)
    (told,) = standing.as_list()[1]["findings"]
    assert (told["code"], told["severity"], told["waived"]) == ("x", "stop", bool(waived))


def test_parting_is_done_once_a_direction_is_stated_or_found():
    held = kept("intake", "condition", "symmetry", "measurement")
    stated = job_from({"mould": {"pull_direction": [0, 0, 1]}})
    parting = step_named("parting")
    assert Standing(keys=KEYS, kept=held, job=job_from({})).state(parting) == "ready"
    assert Standing(keys=KEYS, kept=held, job=stated).state(parting) == "done"
    assert Standing(keys=KEYS, kept={**held, **kept("mould")}, job=job_from({})).state(parting) == "done"
    assert Standing(keys=KEYS, kept=kept("measurement", key="then"), job=stated).state(parting) == "stale"


def test_what_the_page_is_told():
    listed = Standing(keys=KEYS, kept=kept("intake"), job=job_from({})).as_list()
    assert [step["name"] for step in listed] == [step.name for step in STEPS]
    assert listed[0]["figures"] == {"size_mm": [1.0, None]}
    assert listed[0]["bodies"] == [
        {"name": "scan", "label": "scan", "role": "scan", "triangles": 12, "maps": []}
    ]
    assert step_named("nose") is None

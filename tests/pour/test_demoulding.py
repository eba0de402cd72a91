"""Demoulding: order, directions, and the verdict on undercuts."""

import pytest

from mirrorprep import cautions
from mirrorprep.pour.demoulding import Undercut, demoulding_steps, undercut_findings
from mirrorprep.pour.materials import find_material
from mirrorprep.solid.finding import Severity

RIGID, SOFT = find_material("epoxy"), find_material("addition-cure silicone")
PULL = (0.0, 0.0, 1.0)


def test_a_rigid_casting_is_drawn_straight():
    steps = demoulding_steps(RIGID, pull_direction=PULL, bolts=4)
    assert [step.number for step in steps] == list(range(1, len(steps) + 1))
    assert "4 bolts" in steps[1].action
    assert [step.direction for step in steps if step.direction] == [PULL, (0.0, 0.0, -1.0)]
    assert "do not bend" in steps[-2].action
    assert any(cautions.PRY_AWAY in step.action for step in steps)


def test_a_hooked_flexible_casting_is_bent_out_last():
    hook = Undercut(depth_mm=3.1, strain=0.2, where_mm=((1.0, 2.0, 3.0),))
    steps = demoulding_steps(SOFT, pull_direction=PULL, undercut=hook)
    peel = steps[-2]
    assert "3.1 mm" in peel.action
    assert peel.where_mm == hook.where_mm
    assert peel.as_dict()["where_mm"] == [[1.0, 2.0, 3.0]]
    assert "clamps" in steps[1].action


def test_pry_slots_take_turns_across_the_mould():
    slots = ((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (10.0, 0.0, 0.0), (9.0, 0.0, 0.0))
    steps = demoulding_steps(SOFT, pull_direction=PULL, pry_slots_mm=slots)
    pry = next(step for step in steps if step.where_mm)
    assert pry.where_mm[0] == slots[0]
    assert pry.where_mm[1] == slots[2]
    assert set(pry.where_mm) == set(slots)


def test_without_a_mould_there_is_no_opening():
    steps = demoulding_steps(SOFT, pull_direction=None)
    assert not any("half_a" in step.action for step in steps)


def test_waiting_is_by_material():
    waits = [
        demoulding_steps(find_material(name), pull_direction=None)[0].action
        for name in ("casting wax", "gypsum plaster", "epoxy")
    ]
    assert "cool slowly" in waits[0]
    assert "warmed up" in waits[1]
    assert "data sheet" in waits[2]


@pytest.mark.parametrize(
    ("material", "undercut", "code", "severity"),
    [
        (RIGID, Undercut(depth_mm=2.0), "rigid-casting-hooked", Severity.STOP),
        (SOFT, Undercut(depth_mm=2.0), "demoulding-strain-unknown", Severity.CAUTION),
        (SOFT, Undercut(depth_mm=2.0, strain=0.6), "demoulding-strain-high", Severity.CAUTION),
        (SOFT, Undercut(depth_mm=2.0, strain=2.0), "demoulding-strain-high", Severity.STOP),
    ],
)
def test_undercuts_that_speak_against_it(material, undercut, code, severity):
    (finding,) = undercut_findings(material, undercut)
    assert (finding.code, finding.severity) == (code, severity)
    assert finding.remedy


@pytest.mark.parametrize(
    ("material", "undercut"),
    [
        (RIGID, None),
        (RIGID, Undercut(depth_mm=0.02)),
        (SOFT, Undercut(depth_mm=2.0, strain=0.1)),
    ],
)
def test_undercuts_that_pass(material, undercut):
    assert undercut_findings(material, undercut) == ()

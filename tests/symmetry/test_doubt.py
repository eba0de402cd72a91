"""When the best plane is doubted; every doubt is fed its cause."""

import numpy as np
import pytest

from mirrorprep.solid.finding import Severity
from mirrorprep.symmetry.doubt import disagreement, doubt, findings, free_axis
from mirrorprep.symmetry.judge import Judged


def judged(nats, *, known=None, sharpness=None, slip=None, freedoms=None):
    k = len(nats)
    nats = np.array(nats, float)
    normals = np.eye(3)[np.arange(k) % 3]
    return Judged(
        normals=normals,
        offsets=np.zeros(k),
        center=np.zeros((k, 3)),
        scores=nats,
        nats=nats,
        known=np.array(known or [0.8] * k, float),
        share=np.full(k, 0.9),
        width=np.full(k, 0.002),
        sharpness=np.array(sharpness or [0.9] * k, float),
        slip=np.array(slip or [[0.1, 0.2, 1.0]] * k, float),
        freedoms=np.array(freedoms if freedoms is not None else [np.eye(3)] * k, float),
        covariance=np.zeros((k, 3, 3)),
        residual=np.zeros((k, 4)),
        excused=np.zeros((k, 4), bool),
    )


def told(planes, **settings):
    found = doubt(planes, pinned=settings.pop("pinned", False), sd=settings.pop("sd", (0.0, 0.0)))
    options = {"contradicted": 0.0, "chosen": False, **settings}
    return found.status, {f.code: f.severity for f in findings(found, **options)}


@pytest.mark.parametrize(
    ("planes", "status", "codes"),
    [
        (judged([2.0, 0.2]), "clear", {}),
        (judged([2.0]), "clear", {}),
        (judged([2.0, 1.4]), "clear", {"mirror-plane-close-second": "caution"}),
        (judged([2.0, 1.9]), "ambiguous", {"mirror-plane-ambiguous": "stop"}),
        (judged([2.0, 0.8], known=[0.8, 0.32]), "ambiguous", {"mirror-plane-ambiguous": "stop"}),
        (judged([2.0, 0.2], sharpness=[0.05, 0.9]), "ambiguous", {"mirror-plane-family": "stop"}),
        (
            judged([2.0, 0.2], slip=[[0.01, 0.2, 1], [0.1, 0.2, 1]]),
            "ambiguous",
            {"mirror-plane-family": "stop"},
        ),
        (judged([0.1, 0.02]), "weak", {"mirror-plane-weak": "stop"}),
    ],
)
def test_reasons(planes, status, codes):
    assert told(planes) == (status, codes)


def test_the_users_choice_turns_stops_into_cautions():
    _, codes = told(judged([2.0, 1.9]), chosen=True)
    assert codes == {"mirror-plane-ambiguous": Severity.CAUTION}


def test_landmarks_settle_a_family():
    planes = judged([2.0, 0.4, 0.3], slip=[[0.01, 0.2, 1]] * 3)
    assert told(planes, pinned=True) == ("clear", {"mirror-plane-family": Severity.CAUTION})


@pytest.mark.parametrize("sd", [(0.6, 0.1), (0.1, 0.6)])
def test_a_plane_held_to_less_than_1_degree_or_1_percent_is_weak(sd):
    assert told(judged([2.0, 0.2]), sd=sd) == ("weak", {"mirror-plane-loose": Severity.STOP})
    assert told(judged([2.0, 1.9]), sd=sd)[0] == "ambiguous"
    assert told(judged([2.0, 0.2]), sd=sd, pinned=True) == ("clear", {})


def test_contradiction_is_a_caution():
    _, codes = told(judged([2.0, 0.2]), contradicted=0.4)
    assert codes == {"mirror-plane-contradicted": Severity.CAUTION}


def test_the_axis_of_a_tilt_lies_in_the_plane_and_of_a_shift_along_the_normal():
    # The first plane has the normal x; its tangents are ±y and ±z.
    tilts = judged([1.0], slip=[[0.0, 0.2, 1]], freedoms=[np.eye(3)])
    axis = np.abs(free_axis(tilts))
    assert axis[0] == pytest.approx(0.0)
    assert axis.max() == pytest.approx(1.0)
    shifts = judged([1.0], slip=[[0.0, 0.2, 1]], freedoms=[np.eye(3)[:, [2, 0, 1]]])
    assert free_axis(shifts) == pytest.approx((1.0, 0.0, 0.0))


def test_disagreement_grows_from_nothing_to_a_stop():
    assert disagreement(2.0, 0.5) == []
    assert [f.severity for f in disagreement(6.0, 0.5)] == [Severity.CAUTION]
    assert [f.severity for f in disagreement(40.0, 0.5)] == [Severity.STOP]
    assert disagreement(2.0, float("inf")) == []

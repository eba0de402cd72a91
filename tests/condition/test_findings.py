import re

import numpy as np

from mirrorprep import ScanMesh, check
from mirrorprep.condition.draft import MOST_PLACES
from mirrorprep.solid.primitives import sphere


def ruin():
    """A soup with most faults at once."""
    ball = sphere(4.0, segments=40).mesh
    points = np.array(ball.vertices)
    points[::37] *= 1.9
    faces = np.concatenate([ball.faces[200:], ball.faces[300:310], ball.faces[-4:, ::-1], [[0, 1, 1]]])
    other = sphere(3.0, segments=24, center_mm=[3.0, 0.2, 0.1]).mesh
    return ScanMesh(
        vertices=np.concatenate([points, other.vertices]),
        faces=np.concatenate([faces, other.faces + len(points)]),
    )


def test_findings_have_stable_codes_one_sentence_places_and_a_remedy():
    findings = check(ruin(), accuracy_mm=1e-6).findings
    assert len({f.code for f in findings}) == len(findings) >= 8
    for finding in findings:
        assert re.fullmatch(r"[a-z]+(-[a-z]+)*", finding.code)
        assert finding.message.endswith(".")
        assert finding.remedy
        assert len(finding.where) <= MOST_PLACES
        assert np.isfinite(np.array(finding.where)).all()


def test_places_of_local_findings_lie_within_the_scan():
    mesh = ruin()
    low, high = mesh.bounds_mm
    local = [f for f in check(mesh).findings if f.where]
    assert {f.code for f in local} >= {"open-edges", "self-intersections", "spikes", "duplicate-faces"}
    for finding in local:
        where = np.array(finding.where)
        assert ((where >= low - 1e-9) & (where <= high + 1e-9)).all()

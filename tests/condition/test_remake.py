import numpy as np
import pytest

from mirrorprep.condition.draft import Draft
from mirrorprep.condition.remake import remake
from mirrorprep.errors import NotASolidError
from mirrorprep.geometry.self_intersection import meeting_pairs
from mirrorprep.solid.certify import certify, examine
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.primitives import sphere


def remade(mesh, spacing, share=0.005):
    draft, step = remake(Draft.of(mesh), spacing_mm=spacing, island_share=share)
    return draft, step, ScanMesh(vertices=draft.vertices, faces=draft.faces)


def test_a_shredded_ball_comes_back_as_a_solid_within_a_tenth_of_the_spacing():
    ball = sphere(30.0, segments=96).mesh
    rng = np.random.default_rng(0)
    kept = rng.random(len(ball.faces)) > 0.03
    soup = ball.triangles[kept] + rng.normal(0, 0.02, (int(kept.sum()), 1, 3))
    scan = ScanMesh(vertices=soup.reshape(-1, 3), faces=np.arange(3 * len(soup)).reshape(-1, 3))
    draft, step, mesh = remade(scan, 2.0)
    assert examine(mesh).solid
    assert len(meeting_pairs(mesh.vertices, mesh.faces).all) == 0
    assert certify(mesh).volume_mm3 == pytest.approx(4 / 3 * np.pi * 27000, rel=0.02)
    assert np.abs(np.linalg.norm(mesh.vertices, axis=1) - 30.0).max() < 0.8
    assert step.counts["max_deviation_mm"] < 0.8
    assert (draft.source == -1).all()
    assert (draft.moved_mm > 0).all()


def test_the_stated_deviation_shrinks_with_the_spacing():
    ball = sphere(30.0, segments=200).mesh
    coarse, fine = (remade(ball, spacing)[1].counts["max_deviation_mm"] for spacing in (4.0, 2.0))
    assert fine < 0.6 * coarse < 0.6 * 0.5


def test_a_sheet_that_encloses_nothing_is_refused():
    flat = ScanMesh(vertices=np.array([[0.0, 0, 0], [9, 0, 0], [0, 9, 0]]), faces=np.array([[0, 1, 2]]))
    with pytest.raises(NotASolidError, match="encloses nothing"):
        remade(flat, 1.0)

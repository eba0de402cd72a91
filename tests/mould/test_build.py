import json

import numpy as np
import pytest

from mirrorprep.mould.build import build_mould
from mirrorprep.mould.settings import MouldSettings
from mirrorprep.solid.primitives import sphere
from mirrorprep.solid.solid import union

CONTRACT = {
    "pull_direction",
    "parting",
    "trapped_mm3",
    "max_undercut_mm",
    "halves",
    "cavity_volume_mm3",
    "channels_volume_mm3",
    "outer_volume_mm3",
    "identity_error",
    "release_interference_mm3",
    "air_pockets",
    "findings",
}


@pytest.fixture(scope="module")
def bean():
    return union([sphere(15.0, center_mm=[8, 3, 1]), sphere(12.0, center_mm=[-9, 2, 1])])


@pytest.fixture(scope="module", params=["block", "cylinder"])
def mould(request, bean):
    return build_mould(bean, settings=MouldSettings(body=request.param, pull_direction=(0, 0, 1)))


def test_mould_of_a_round_body_is_proved(mould):
    assert mould.proof.holds, mould.proof.findings
    assert mould.identity_error <= 1e-12
    assert mould.release_interference_mm3 <= 1e-4 * mould.cavity_volume_mm3


def test_cavity_keeps_the_parts_own_vertices(mould, bean):
    from scipy.spatial import cKDTree

    stood = cKDTree(np.vstack([half.solid.mesh.vertices for half in mould.halves]))
    covered = mould.channels.bounds_mm
    points = bean.mesh.vertices
    points = points[((points < covered[0]) | (points > covered[1])).any(axis=1)]
    assert len(points) > 500
    assert stood.query(points)[0].max() < 1e-6


def test_halves_lie_on_the_bed_on_their_backs(mould):
    for half in mould.halves:
        placed = half.solid.transformed(half.print_pose)
        assert placed.bounds_mm[0] == pytest.approx([0, 0, 0], abs=1e-9)
        side = 1.0 if half.name == "half_a" else -1.0
        assert half.print_pose[:3, :3] @ mould.pull_direction == pytest.approx([0, 0, -side])
        assert np.linalg.det(half.print_pose) == pytest.approx(1.0)


def test_both_verdicts_keys_slots_and_standing_are_told(mould):
    data = mould.as_dict()
    assert set(data["verdicts"]) == {"rigid", "flexible"}
    assert all(found["releases"] for found in data["verdicts"].values())
    assert mould.verdicts[mould.settings.casting].sentence == mould.verdict.sentence
    assert len(data["keys_mm"]) == len(mould.keys) == 4
    assert data["slots"] == 2
    assert data["standing"]["tip_deg"] > 20.0
    level = mould.parting.height_mm(np.array(data["keys_mm"]) @ mould.parting.frame[:, :2])
    assert np.array(data["keys_mm"]) @ mould.pull_direction == pytest.approx(level, abs=1e-6)


def test_json_names_are_those_of_the_contract(mould):
    data = json.loads(json.dumps(mould.as_dict()))
    assert set(data) >= CONTRACT
    assert {"name", "file", "volume_mm3", "triangles", "solid"} <= set(data["halves"][0])
    assert [half["name"] for half in data["halves"]] == ["half_a", "half_b"]

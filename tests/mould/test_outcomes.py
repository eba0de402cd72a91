"""Closed meshes of installed packages: a verified mould, or a refusal with its reasons.

The whole list, with times, is that of ``tests/benchmarks/mould_outcomes.py``.
"""

import re
from pathlib import Path

import numpy as np
import pytest

from mirrorprep.condition.mend import mend
from mirrorprep.mould.build import build_mould
from mirrorprep.mould.settings import MouldSettings
from mirrorprep.solid.certify import certify
from mirrorprep.solid.finding import Severity
from mirrorprep.solid.mesh import ScanMesh


def scaled(vertices, faces, size_mm=80.0):
    points = np.asarray(vertices, dtype=np.float64)
    return ScanMesh(vertices=points * (size_mm / np.ptp(points, axis=0).max()), faces=np.asarray(faces))


def stops(made):
    return {finding.code: finding for finding in made.findings if finding.severity is Severity.STOP}


def assert_reasoned(finding):
    """One sentence with a value and a limit, and a remedy."""
    assert len(re.findall(r"\d", finding.message)) >= 2
    assert "limit" in finding.message
    assert finding.limit is not None
    assert finding.remedy


def test_grid_of_pyvista_gets_a_mould():
    # The surface of a regular grid is a cube; poured with an edge up, that edge runs along the pull.
    examples = pytest.importorskip("pyvista.examples")
    surface = examples.load_uniform().extract_surface(algorithm="dataset_surface").triangulate()
    solid = mend(scaled(surface.points, surface.faces.reshape(-1, 4)[:, 1:])).solid
    made = build_mould(
        solid, settings=MouldSettings(pull_direction=(1.0, 0.0, 0.0), pour_up=(0.0, 1.0, -0.03))
    )
    assert made.parting.kind == "plane"
    assert not stops(made)
    assert made.proof.holds
    for channel in made.runners:
        assert channel.mouth_mm[2] == pytest.approx(channel.axis_w_mm, abs=1e-6)


def test_head_of_mne_gets_a_mould():
    mne = pytest.importorskip("mne")
    file = Path(mne.__file__).parent / "data" / "fsaverage" / "fsaverage-head.fif"
    (head,) = mne.read_bem_surfaces(file, verbose="error")
    solid = certify(scaled(head["rr"], head["tris"]))
    made = build_mould(solid, settings=MouldSettings(pull_direction=(1.0, 0.0, 0.0), casting="flexible"))
    assert not stops(made)
    assert made.proof.holds
    assert len(made.keys) == len(made.bolts) == 4


def test_folded_brain_of_nilearn_is_refused_to_a_rigid_casting_only():
    # The white matter's surface traps an eighth of its volume in its folds, along any pull.
    datasets = pytest.importorskip("nilearn.datasets")
    surface = pytest.importorskip("nilearn.surface")
    mesh = surface.load_surf_mesh(datasets.fetch_surf_fsaverage("fsaverage5")["white_left"])
    brain = certify(scaled(mesh.coordinates, mesh.faces)).simplified(0.6)  # crosses itself from 0.7 on
    pull = {"pull_direction": (1.0, 0.0, 0.0), "pour_up": (0.0, 1.0, 0.0)}
    made = build_mould(brain, settings=MouldSettings(body="block", **pull))
    found = stops(made)
    assert set(found) == {"rigid-casting-locked", "opening-interference"}
    assert found["rigid-casting-locked"].measured > 0.05
    for finding in found.values():
        assert_reasoned(finding)
    assert made.proof.sound

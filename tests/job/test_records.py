"""Kept records come back whole, and only under their own key."""

import numpy as np
import pytest

from mirrorprep.job.records import StageRecord, digest, keep, recall
from mirrorprep.solid.finding import Finding, Severity
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.primitives import box
from mirrorprep.solid.solid import Solid


def _record() -> StageRecord:
    open_mesh = ScanMesh(
        vertices=np.eye(3), faces=np.array([[0, 1, 2]]), colors=np.full((3, 4), 9, dtype=np.uint8)
    )
    finding = Finding(
        code="x", severity=Severity.CAUTION, message="m", where=((1.0, 2.0, 3.0),), measured=1.5
    )
    return StageRecord(
        name="intake",
        figures={"a": [1, 2.5]},
        findings=(finding,),
        shapes={"scan": open_mesh, "part": box([1, 2, 3])},
    )


def test_record_comes_back_whole(tmp_path):
    record = _record()
    keep(record, tmp_path / "r.npz", "key")
    copy = recall(tmp_path / "r.npz", "key")
    assert copy is not None
    assert (copy.name, copy.figures, copy.findings) == (record.name, record.figures, record.findings)
    assert isinstance(copy.shapes["part"], Solid)
    assert copy.solid("part").volume_mm3 == pytest.approx(6.0)
    assert copy.mesh("scan").colors.tolist() == [[9] * 4] * 3
    assert copy.as_dict() == record.as_dict()


def test_other_key_or_damage_counts_as_absent(tmp_path):
    file = tmp_path / "r.npz"
    assert recall(file, "key") is None
    keep(_record(), file, "key")
    assert recall(file, "other") is None
    data = file.read_bytes()
    for size in (0, 10, len(data) // 2, len(data) - 1):
        file.write_bytes(data[:size])
        assert recall(file, "key") is None


def test_digest_depends_on_content_only():
    assert digest({"a": 1, "b": 2}) == digest({"b": 2, "a": 1})
    assert digest(1) != digest(2)

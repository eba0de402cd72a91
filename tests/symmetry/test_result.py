"""The contract of `plane SCAN --json`."""

import json

import numpy as np

from mirrorprep.solid.primitives import box
from mirrorprep.symmetry.search import find_mirror_plane

CONTRACT = {
    "normal", "offset_mm", "status", "asymmetry_rms_mm", "sd_deg", "sd_mm", "matched_share", "alternatives",
}  # fmt: skip


def test_fields_of_the_contract():
    result = find_mirror_plane(box([20, 30, 50]))
    data = json.loads(json.dumps(result.as_dict(), allow_nan=False))
    assert set(data) >= CONTRACT
    assert len(data["normal"]) == 3
    assert set(data["alternatives"][0]) == {"normal", "offset_mm", "score"}
    np.testing.assert_allclose(data["normal"], result.plane.normal)
    assert data["matched_share"] + data["unknown_share"] + data["contradicted_share"] == 1.0 or np.isclose(
        data["matched_share"] + data["unknown_share"] + data["contradicted_share"], 1.0
    )
    assert [finding["code"] for finding in data["findings"]] == ["mirror-plane-ambiguous"]

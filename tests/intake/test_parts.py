"""Placed parts: joining, mirroring, flattening, limits."""

import numpy as np
import pytest

from mirrorprep.errors import InputFileError
from mirrorprep.geometry.mass_properties import signed_volume_mm3
from mirrorprep.intake.parts import Part, joined, limit_parts, matrix_from


def part(samples, matrix, **more):
    points, faces = samples.torus()
    return Part(vertices=points, faces=faces, matrix=np.asarray(matrix, dtype=float), **more)


def test_volumes_add_up_whatever_the_placement(samples):
    """A mirroring placement keeps the sign of the volume: V' = |det| V."""
    whole = part(samples, np.eye(4))
    mirror = part(samples, np.diag([-2.0, 1, 1, 1]))
    raw = joined([whole, mirror], "mm")
    one = signed_volume_mm3(whole.placed(), whole.wound())
    assert signed_volume_mm3(raw.vertices, raw.faces) == pytest.approx(3 * one, rel=1e-12)
    assert [f.code for f in raw.findings] == ["several-objects"]


def test_flattened_parts_are_left_out(samples):
    raw = joined([part(samples, np.eye(4)), part(samples, np.diag([1.0, 0, 1, 1]))], "mm")
    assert [f.code for f in raw.findings] == ["flattened-parts"]
    assert len(raw.faces) == 192


def test_tiny_parts_are_not_taken_for_flat(samples):
    assert not part(samples, np.diag([1e-9, 1e-9, 1e-9, 1])).flattened


@pytest.mark.parametrize("counts", [(10_001, 1, 1), (1, 30_000_001, 1), (1, 1, 20_000_001), (2**70, 1, 1)])
def test_limits(counts):
    with pytest.raises(InputFileError, match="limit"):
        limit_parts(*counts)


def test_matrix_columns():
    assert matrix_from(list(range(12)), (4, 3))[:3, 3].tolist() == [9, 10, 11]
    with pytest.raises(InputFileError, match="12 finite numbers"):
        matrix_from([np.nan] * 12, (4, 3))

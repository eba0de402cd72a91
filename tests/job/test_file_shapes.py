"""Shapes that 32-bit numbers cannot hold."""

from mirrorprep.job.file_shapes import rounding_findings
from mirrorprep.solid.primitives import box


def test_a_caution_says_what_a_reader_would_find():
    found = rounding_findings("mirrored_part", box([1e-9, 2, 3]).translated([100.0, 0, 0]))
    assert [finding.code for finding in found] == ["stl-not-closed"]
    assert "mirrored_part.stl" in found[0].message


def test_a_fit_shape_has_no_caution():
    assert rounding_findings("mirrored_part", box([1, 2, 3])) == ()

"""Shrinkage arithmetic and sizes before and after."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mirrorprep.errors import UsageError
from mirrorprep.pour.ranges import Range
from mirrorprep.pour.shrinkage import (
    allow_for_shrinkage,
    linear_shrinkage,
    pattern_scale,
    shrinkage_report,
    volumetric_shrinkage,
)
from mirrorprep.solid.primitives import box


@pytest.mark.parametrize(
    ("linear", "volume_percent", "scale"),
    [
        # Shrinkage arithmetic: 1 - (1 - s)³ and 1 / (1 - s), closed form.
        (0.001, 0.2997, 1.001001),
        (0.005, 1.4925, 1.0050251),
        (0.01, 2.9701, 1.0101010),
        (0.02, 5.8808, 1.0204082),
    ],
)
def test_arithmetic(linear, volume_percent, scale):
    assert 100 * volumetric_shrinkage(linear) == pytest.approx(volume_percent, abs=5e-5)
    assert float(pattern_scale(linear)) == pytest.approx(scale, abs=5e-8)


@settings(deadline=None, max_examples=50, derandomize=True)
@given(st.floats(-0.15, 0.15))
def test_volume_and_length_are_inverse(share):
    assert linear_shrinkage(volumetric_shrinkage(share)) == pytest.approx(share, abs=1e-12)


def test_the_cavity_shrinks_back_to_the_part():
    part = box([60, 36, 18], center_mm=[5, 6, 7])
    cavity = allow_for_shrinkage(part, [0.01, 0.02, 0.005], about_mm=(5, 6, 7))
    size = np.ptp(cavity.bounds_mm, axis=0)
    assert size * (1 - np.array([0.01, 0.02, 0.005])) == pytest.approx([60, 36, 18], abs=1e-12)
    assert cavity.bounds_mm.mean(axis=0) == pytest.approx([5, 6, 7])


def test_a_cavity_scaled_for_the_typical_shrinkage():
    linear = Range(0.01, 0.02, 0.03)
    report = shrinkage_report(np.array([60, 40, 20]) / 0.98, linear=linear, allowed=0.02)
    assert report.part_size_mm == pytest.approx((60, 40, 20))
    assert [size.typical for size in report.casting_size_mm] == pytest.approx([60, 40, 20])
    assert report.worst_error_mm == pytest.approx(60 / 0.98 * 0.01)
    assert report.as_dict()["size_before_mm"] == pytest.approx([60 / 0.98, 40 / 0.98, 20 / 0.98])


def test_a_cavity_that_was_not_scaled():
    report = shrinkage_report((60, 40, 20), linear=Range.of(0.02))
    assert report.worst_error_mm == pytest.approx(1.2)
    assert report.cavity_scale == (1.0, 1.0, 1.0)


def test_expansion_makes_it_larger():
    report = shrinkage_report((100, 50, 20), linear=Range(-0.003, -0.0025, -0.002))
    assert report.casting_size_mm[0].high == pytest.approx(100.3)


def test_absurd_shares_are_refused():
    with pytest.raises(UsageError, match="shrinkage"):
        pattern_scale(2.0)

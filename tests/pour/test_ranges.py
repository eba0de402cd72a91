"""Ranges: bounds through formulas, digits."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mirrorprep.errors import UsageError
from mirrorprep.pour.ranges import Range, combined

positive = st.floats(0.01, 1e3)


@st.composite
def ranges(draw):
    return Range(*sorted(draw(st.tuples(positive, positive, positive))))


@settings(deadline=None, max_examples=100, derandomize=True)
@given(a=ranges(), b=ranges(), share=st.tuples(st.floats(0, 1), st.floats(0, 1)))
def test_bounds_hold_for_every_pair_inside(a, b, share):
    result = combined(lambda x, y: x * math.sqrt(x) / y, a, b)
    x = a.low + share[0] * (a.high - a.low)
    y = b.low + share[1] * (b.high - b.low)
    value = x * math.sqrt(x) / y
    assert result.low * (1 - 1e-12) <= value <= result.high * (1 + 1e-12)
    assert result.low <= result.typical <= result.high


def test_exact_figures_stay_exact():
    assert combined(lambda x, y: x + y, Range.of(2), Range.of(3)) == Range.of(5)
    assert Range.of(2).scaled(3.0) == Range.of(6)
    assert Range.of(2).exact


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        # Common practice, no source: u = 0.1 gives one decimal; at least one digit is kept.
        (Range(3.9, 4.0125, 4.1), 4.0),
        (Range(26.25, 28.1, 30.0), 28.0),
        (Range(0.2, 52.0, 345.0), 50.0),
        (Range(23.5129, 23.5129, 23.5129), 23.5),
        (Range(-0.003, -0.0025, -0.002), -0.0025),
        (Range(-1.0, 0.0, 1.0), 0.0),
    ],
)
def test_digits(value, shown):
    assert value.rounded == pytest.approx(shown, abs=1e-12)


@pytest.mark.parametrize("bounds", [(2, 1, 3), (1, 4, 3), (math.nan, 1, 2), (1, 2, math.inf)])
def test_disorder_is_refused(bounds):
    with pytest.raises(UsageError, match="no range"):
        Range(*bounds)


def test_as_dict():
    assert Range(1, 2, 3).as_dict() == {"low": 1, "typical": 2, "high": 3}

"""Histograms: round bins that hold every value, and what is written beside them."""

import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from mirrorprep.handover.histogram import histogram_svg, round_edges

NUMBERS = st.floats(-1e6, 1e6, allow_nan=False).map(lambda x: round(x, 6))


@settings(deadline=None, max_examples=80, derandomize=True)
@given(arrays(np.float64, st.integers(1, 40), elements=NUMBERS))
def test_every_value_stands_in_a_bin_of_equal_width(values):
    edges = round_edges(values)
    counts, _ = np.histogram(
        values, bins=edges + np.array([-1e-9 * abs(edges[0]), *[0] * (len(edges) - 2), 1e-9 * abs(edges[-1])])
    )
    assert counts.sum() == len(values)
    assert 2 <= len(edges) <= 17
    np.testing.assert_allclose(np.diff(edges), edges[1] - edges[0], rtol=1e-6)


def test_bins_are_not_finer_than_the_figures():
    edges = round_edges([0.0, 5.6e-13], step=0.1)
    assert edges.tolist() == [0.0, 0.1]


def test_bars_median_and_scale():
    drawn = histogram_svg([0.0, 0.0, 1.0, 10.0], label="length, mm")
    assert drawn.count("<rect") == 3
    assert re.findall(r">([0-9.]+)</text>", drawn) == ["2", "0", "2", "4", "6", "8", "10"]
    assert 'aria-label="length, mm"' in drawn
    assert float(re.search(r"M([0-9.]+) 16v", drawn)[1]) == pytest.approx(360 * 0.5 / 10, abs=0.06)

"""Numbers in words."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mirrorprep.handover.figure_text import number_words, uncertainty_words, value_words

THIN = "\u202f"


@pytest.mark.parametrize(
    ("value", "uncertainty", "words"),
    [
        # common practice, no source: u = 0.1 supports one decimal, 4.0125 is read as 4.0
        (4.0125, 0.1, "4.0"),
        (4.165, 0.1, "4.2"),
        (21375.396, 130.0, f"21{THIN}400"),
        (1234.5, 2.0, "1234"),
        (0.031, 0.02, "0.03"),
        (-0.04, 0.01, "−0.04"),
        (5.0, 0.0, "5"),
        (2.0, None, "2"),
        (1 / 3, None, "0.3333"),
        (36303.4449, None, f"36{THIN}300"),
        (1.5e-7, None, "1.5 × 10⁻⁷"),
        (0.0, None, "0"),
        (math.nan, 0.1, "not a number"),
        (-math.inf, None, "−infinite"),
    ],
)
def test_number_words(value, uncertainty, words):
    assert number_words(value, uncertainty=uncertainty) == words


@pytest.mark.parametrize(
    ("uncertainty", "words"),
    [(0.0, "0"), (0.1, "0.1"), (0.14, "0.2"), (0.3, "0.3"), (2.0, "2"), (17.0, "20"), (9.5, "10")],
)
def test_an_uncertainty_is_never_understated(uncertainty, words):
    assert uncertainty_words(uncertainty) == words


@settings(deadline=None, max_examples=100, derandomize=True)
@given(value=st.floats(-1e6, 1e6), uncertainty=st.floats(1e-6, 1e4))
def test_rounding_stays_within_the_uncertainty(value, uncertainty):
    words = number_words(value, uncertainty=uncertainty).replace("−", "-").replace(THIN, "")
    assert abs(float(words) - value) <= 0.5 * uncertainty * (1 + 1e-9)


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (None, "unknown"),
        (False, "no"),
        ("word", "word mm"),
        (7, "7 mm"),
        (200132, f"200{THIN}132 mm"),
        (2.0, "2 mm"),
    ],
)
def test_value_words(value, words):
    shown = value_words(value, unit="mm")
    assert shown == words or (isinstance(value, str) and shown == value)

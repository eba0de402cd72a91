"""Conversions."""

import pytest

from mirrorprep import units
from mirrorprep.errors import UsageError


def test_length_units():
    """1 in = 25.4 mm, 1 ft = 304.8 mm (international yard and pound agreement, 1959)."""
    assert [units.mm_per_unit(u) for u in ("micron", "mm", "cm", "in", "ft", "m")] == [
        1e-3, 1.0, 10.0, 25.4, 304.8, 1000.0,
    ]  # fmt: skip
    with pytest.raises(UsageError, match="'furlong' is not a length unit"):
        units.mm_per_unit("furlong")


def test_mass():
    """21 375.396 mm³ × 1.10 g/cm³ = 23.513 g."""
    assert units.mass_g(21375.396415, 1.10) == pytest.approx(23.513, abs=5e-4)


@pytest.mark.parametrize(
    ("value", "uncertainty", "text"),
    [
        (23512.93, 480.0, "23500"),
        (4.0125, 0.1, "4.0"),
        (4.165, 0.1, "4.2"),
        (4.165, 0.5, "4.2"),
        (12345.6, 20.0, "12350"),
        (0.0, None, "0"),
        (1234.5, None, "1230"),
        (0.012345, None, "0.0123"),
    ],
)
def test_digits_follow_the_uncertainty(value, uncertainty, text):
    """Round to the leading digit of the uncertainty; ±0.1 gives one decimal (common practice, no source)."""
    assert units.supported_digits(value, uncertainty) == text

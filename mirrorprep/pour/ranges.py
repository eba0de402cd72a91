"""Range: a figure that is known between two bounds, and how bounds run through a formula."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from itertools import product

from mirrorprep.errors import UsageError


@dataclass(frozen=True, slots=True)
class Range:
    """A typical value between two bounds.

    Attributes
    ----------
    low, typical, high : float
        In rising order; all equal for an exact figure.

    Raises
    ------
    UsageError
        If the values are not finite or not in order.

    Examples
    --------
    >>> Range(3.0, 10.0, 40.0).exact
    False
    """

    low: float
    typical: float
    high: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.high - self.low) and self.low <= self.typical <= self.high):
            raise UsageError(
                f"({self.low}, {self.typical}, {self.high}) is no range.",
                remedy="Give a lower bound, a typical value and an upper bound in rising order.",
            )

    @classmethod
    def of(cls, value: float) -> "Range":
        """Return an exact figure."""
        return cls(float(value), float(value), float(value))

    @property
    def exact(self) -> bool:
        """True when both bounds agree."""
        return self.low == self.high

    @property
    def half_width(self) -> float:
        """Half the distance between the bounds."""
        return (self.high - self.low) / 2.0

    def scaled(self, factor: float) -> "Range":
        """Return the range times a positive number."""
        return Range(self.low * factor, self.typical * factor, self.high * factor)

    @property
    def rounded(self) -> float:
        """The typical value with the digits that the bounds support, at least one.

        Examples
        --------
        >>> Range(26.25, 28.1, 30.0).rounded, Range(17.3, 52.0, 345.0).rounded, Range.of(23.5129).rounded
        (28.0, 50.0, 23.5)
        """
        if self.typical == 0.0:
            return 0.0
        leading = -math.floor(math.log10(abs(self.typical)))
        if self.half_width <= 1e-9 * abs(self.typical):
            return round(self.typical, leading + 2)
        return round(self.typical, max(-math.floor(math.log10(self.half_width * (1.0 + 1e-9))), leading))

    def as_dict(self) -> dict[str, float]:
        """Return plain data for JSON."""
        return {"low": self.low, "typical": self.typical, "high": self.high}


def combined(formula: Callable[..., float], *ranges: Range) -> Range:
    """Return the range of a formula that rises or falls steadily with each of its arguments.

    The bounds are the least and greatest value over all corners, which is exact for such a formula when the
    arguments vary independently.

    Parameters
    ----------
    formula : callable
        Takes as many floats as there are ranges.
    *ranges : Range
        The arguments.

    Returns
    -------
    Range
        Bounds and typical value of the result.

    Examples
    --------
    >>> combined(lambda volume, density: volume * density, Range.of(2.0), Range(1.0, 1.1, 1.2))
    Range(low=2.0, typical=2.2, high=2.4)
    """
    corners = [formula(*corner) for corner in product(*({r.low, r.high} for r in ranges))]
    typical = formula(*(r.typical for r in ranges))
    return Range(min(*corners, typical), typical, max(*corners, typical))

"""Published facts on how much left and right ears differ by nature."""

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True, kw_only=True)
class Fact:
    """A published finding.

    Attributes
    ----------
    text : str
        What was found, on whom.
    reference : str
        Where, as far as it was read.
    """

    text: str
    reference: str


FACTS: Final = (
    Fact(
        text="As a group, left and right ears do not differ: no significant difference in length, width, "
        "protrusion or angles among 42 volunteers.",
        reference="Lin 2025, computed tomography (abstract read)",
    ),
    Fact(
        text="Each person's ears do: a true difference in 74 to 100 % of people, measured on the surface.",
        reference="Lin 2025, computed tomography (abstract read)",
    ),
    Fact(
        text="Adult men's ears measure 69.1 ± 5.1 mm right and 69.3 ± 5.2 mm left in length (n = 329).",
        reference="10.4329/wjr.v16.i12.760 (abstract read)",
    ),
    Fact(
        text="Among 400 students most dimensions of the auricle differed significantly between the sides.",
        reference="International Journal of Morphology 33 (2015) 1542 (abstract read)",
    ),
)
"""No published figure was found for the natural asymmetry of an ear's surface in mm."""

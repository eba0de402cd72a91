"""Facts on natural asymmetry carry their figures and their source."""

from mirrorprep.seating.natural_asymmetry import FACTS


def test_facts_are_sourced():
    # ../shared/reference/check-values.md, sections 6.1 and 6.2
    text = " ".join(fact.text for fact in FACTS)
    assert all(fact.reference for fact in FACTS)
    for figure in ("74 to 100 %", "42 volunteers", "69.1 ± 5.1", "400 students"):
        assert figure in text

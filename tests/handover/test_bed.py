"""Places on the bed."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mirrorprep.errors import UsageError
from mirrorprep.handover.bed import place_on_bed
from mirrorprep.handover.files import NamedPart
from mirrorprep.solid.primitives import box


def boxes_of(plan):
    for part in plan.parts:
        points = part.mesh.mesh.vertices @ part.transform[:3, :3].T + part.transform[:3, 3]
        yield points.min(axis=0), points.max(axis=0)


@settings(deadline=None, max_examples=25, derandomize=True)
@given(sizes=st.lists(st.tuples(*[st.floats(1, 150)] * 3), min_size=1, max_size=6))
def test_no_two_overlap_and_all_stand_on_the_bed(sizes):
    parts = [NamedPart(name=str(i), mesh=box(size, center_mm=[9, -7, 3])) for i, size in enumerate(sizes)]
    plan = place_on_bed(parts, bed_mm=(220, 220, 250), gap_mm=5)
    placed = list(boxes_of(plan))
    for number, (low, high) in enumerate(placed):
        assert low[2] == pytest.approx(0, abs=1e-9)
        assert (low[:2] >= 5 - 1e-9).all()
        for other_low, other_high in placed[:number]:
            apart = np.maximum(low - other_high, other_low - high)[:2]
            assert apart.max() >= 5 - 1e-9
    fits = (np.max([high for _, high in placed], axis=0)[:2] + 5 <= 220 + 1e-9).all()
    assert fits == (plan.findings == ())
    assert [part.name for part in plan.parts] == [part.name for part in parts]


def test_the_turn_of_a_part_is_kept():
    turn = np.diag([1.0, -1.0, -1.0, 1.0])
    plan = place_on_bed([NamedPart(name="a", mesh=box([10, 20, 30]), transform=turn)], bed_mm=(100, 100, 100))
    np.testing.assert_array_equal(plan.parts[0].transform[:3, :3], turn[:3, :3])


def test_a_bed_that_is_too_small_or_too_low_is_a_finding():
    part = NamedPart(name="a", mesh=box([10, 20, 30]))
    assert place_on_bed([part], bed_mm=(100, 100, 30)).findings == ()
    for bed in ((20, 100, 100), (100, 30, 100), (100, 100, 29)):
        finding = place_on_bed([part], bed_mm=bed).findings[0]
        assert finding.code == "bed-too-small"
        assert finding.measured > finding.limit


@pytest.mark.parametrize(("bed", "gap"), [((0, 10, 10), 1), ((10, 10), 1), ((10, 10, 10), -1)])
def test_a_bed_has_room(bed, gap):
    with pytest.raises(UsageError, match="holds nothing"):
        place_on_bed([NamedPart(name="a", mesh=box([1, 1, 1]))], bed_mm=bed, gap_mm=gap)

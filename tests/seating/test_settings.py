"""Settings refuse what makes no sense, and turn into plain data."""

import json

import pytest

from mirrorprep.errors import UsageError
from mirrorprep.seating.settings import DonorRegion, SeatSettings


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"kind": "ring"}, "no kind of region"),
        ({"kind": "sphere", "numbers": (1, 2, 3)}, "has 3 numbers, not 4"),
        ({"kind": "sphere", "numbers": (1, 2, 3, 0)}, "radius 0 mm"),
        ({"kind": "box", "numbers": (1, 2, 3, 4, 5, float("nan"))}, "6 numbers, not 6|has 6"),
        ({"kind": "plane", "numbers": (0, 0, 0, 3)}, "no normal"),
        ({"kind": "loop", "loop_mm": [[0, 0, float("inf")]]}, "finite"),
    ],
)
def test_bad_regions(options, message):
    with pytest.raises(UsageError, match=message):
        DonorRegion(**options)


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"edge_mm": 0.0}, "edge_mm is 0"),
        ({"floor_mm": 0.2}, "less than edge_mm"),
        ({"gap_mm": 9.0}, "gap_mm is 9"),
    ],
)
def test_bad_settings(options, message):
    with pytest.raises(UsageError, match=message):
        SeatSettings(**options)


def test_plain_data():
    told = SeatSettings(
        region=DonorRegion(
            kind="loop", loop_mm=[[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 0]], near_mm=(1, 2, 3)
        ),
        direction=(0, 0, 1),
    )
    data = json.loads(json.dumps(told.as_dict()))
    assert data["region"]["near_mm"] == [1, 2, 3]
    assert data["direction"] == [0, 0, 1]
    assert data["retention"]["kind"] == "none"

import pytest

from mirrorprep.condition.settings import MendSettings
from mirrorprep.errors import UsageError


@pytest.mark.parametrize(
    "wrong",
    [
        {"island_share": -0.1},
        {"open_island_share": 1.1},
        {"most_added_share": 2.0},
        {"most_dropped_share": float("nan")},
        {"weld_mm": -1.0},
        {"weld_mm": float("inf")},
        {"remake_mm": 0.0},
        {"smooth_angle_deg": 91.0},
        {"spike_slenderness": 0.5},
    ],
)
def test_values_out_of_range_are_named_with_the_range(wrong):
    (name,) = wrong
    with pytest.raises(UsageError, match=name) as caught:
        MendSettings(**wrong)
    assert "Give" in caught.value.remedy


def test_remaking_is_off_by_default_and_all_other_steps_on():
    settings = MendSettings()
    assert settings.remake_mm is None
    steps = ("weld", "drop_faulty_faces", "drop_islands", "orient", "split", "flatten_spikes", "fill_holes")
    assert all(getattr(settings, name) for name in (*steps, "remove_self_intersections"))

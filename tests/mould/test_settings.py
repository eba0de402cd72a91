import json

import numpy as np
import pytest

from mirrorprep.errors import UsageError
from mirrorprep.mould.settings import MouldSettings, mould_settings


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ({"body": "egg"}, "body is 'egg'"),
        ({"parting": "curved"}, "parting is 'curved'"),
        ({"casting": "soft"}, "casting is 'soft'"),
        ({"bolts": "M7"}, "bolts is 'M7'"),
        ({"process": "laser"}, "process is 'laser'"),
        ({"wall_mm": 0.2}, "wall_mm is 0.2"),
        ({"safe_strain": 0.0}, "safe_strain is 0.0"),
        ({"wall_mm": "thick"}, "wall_mm is 'thick'"),
        ({"key_count": 1}, "lets the halves turn"),
        ({"flange_thickness_mm": 2.5, "key_clearance_mm": 1.0}, "keys 0 mm high"),
        ({"key_clearance_mm": 3.0}, "key_clearance_mm is 3.0"),
        ({"grid_mm": 0.0}, "grid_mm is 0.0"),
        ({"shrinkage": 0.5}, "shrinkage is 0.5"),
        ({"shrinkage": [0.0, 0.1]}, "not three numbers"),
        ({"pull_direction": "up"}, "not three numbers"),
        ({"pull_direction": [0, 0, float("nan")]}, "not three numbers"),
        ({"bed_mm": [0, 200, 200]}, "bed is"),
        ({"job_code": "JANE DOE"}, "cannot be cut"),
        ({"job_code": "A" * 33}, "cannot be cut"),
        ({"wal_mm": 3}, "no.*setting|is not a mould setting"),
    ],
)
def test_wrong_values_are_refused_in_one_sentence(values, said):
    with pytest.raises(UsageError, match=said) as caught:
        mould_settings(values)
    assert caught.value.remedy
    assert "\n" not in str(caught.value)


def test_cavity_scale_undoes_the_shrinkage():
    # Pattern scale-up 1/(1-s): check values, section 3 (1 % gives 1.0101010).
    assert MouldSettings(shrinkage=0.01).cavity_scale == pytest.approx([1.0101010] * 3, abs=1e-7)
    assert MouldSettings(shrinkage=(0.001, 0.005, 0.02)).cavity_scale == pytest.approx(
        [1.001001, 1.0050251, 1.0204082], abs=1e-7
    )
    assert np.all(MouldSettings().cavity_scale == 1.0)


def test_settings_are_plain_data():
    settings = mould_settings({"bed_mm": [100, 100, 100], "shrinkage": [0, 0, 0.01]})
    assert json.loads(json.dumps(settings.as_dict()))["bed_mm"] == [100.0, 100.0, 100.0]


def test_socket_leaves_a_wall():
    for flange in (3.0, 6.0, 12.0):
        settings = MouldSettings(flange_thickness_mm=flange)
        assert settings.key_height_mm + settings.key_gap_mm + 1.5 < flange
        assert settings.key_height_mm > 0.5

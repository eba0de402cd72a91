import numpy as np
import pytest

from mirrorprep.errors import UsageError
from mirrorprep.mould.parting import Guide


def test_channel_is_straight_along_and_level_across():
    strip = Guide.channel([0, 0, 1], [10, 10, 5], 2.0)
    uv = np.array([[5.0, 5.0], [4.0, 6.0], [-3.0, -3.0], [20.0, 20.0]])
    np.testing.assert_allclose(strip.height_mm(uv), [3.0, 3.0, 1.0, 5.0])
    np.testing.assert_allclose(strip.distance_mm(uv), [0.0, np.sqrt(2), np.sqrt(18), np.sqrt(200)])
    assert not strip.floats


def test_pad_floats():
    pad = Guide.pad([3, 4], 5.0)
    assert pad.floats
    np.testing.assert_allclose(pad.distance_mm(np.zeros((1, 2))), [5.0])


@pytest.mark.parametrize("width", [0.0, -1.0, np.nan, np.inf])
def test_width_must_be_positive(width):
    with pytest.raises(UsageError, match="half width"):
        Guide.pad([0, 0], width)

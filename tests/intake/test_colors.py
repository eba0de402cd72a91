"""Colours of any number type."""

import numpy as np
import pytest

from mirrorprep.intake.colors import rgba


@pytest.mark.parametrize(
    ("column", "expected"),
    [
        (np.array([0, 127, 255], dtype=np.uint8), [0, 127, 255]),
        (np.array([0, 32768, 65535], dtype=np.uint16), [0, 128, 255]),
        (np.array([0.0, 0.5, 1.0]), [0, 128, 255]),
        (np.array([0.0, 128.0, 255.0]), [0, 128, 255]),
        (np.array([-1.0, np.nan, 1.0]), [0, 0, 255]),
        (np.array([-128, 0, 127], dtype=np.int8), [0, 0, 255]),
        (np.array([0.0, 2.0, np.inf]), [0, 2, 255]),
    ],
)
def test_types(column, expected):
    colors = rgba([column, column, column])
    assert colors[:, 0].tolist() == expected
    assert (colors[:, 3] == 255).all()


def test_alpha_is_carried():
    byte = np.array([7], dtype=np.uint8)
    assert rgba([byte, byte, byte, byte]).tolist() == [[7, 7, 7, 7]]

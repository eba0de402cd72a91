"""Equal steps, lightness apart, and the sign legible in grey."""

import numpy as np
import pytest

from mirrorprep.handover import palette
from mirrorprep.handover.palette import DEPTH, SIGNED, lab_from_rgb, rgb, rgb_from_lab, rounded_range

# Severe deficiency, linear RGB (Machado, Oliveira and Fernandes 2009, doi:10.1109/TVCG.2009.113; the
# numbers from memory)
DEFICIENCIES = {
    "protan": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deutan": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "tritan": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
}
TOGETHER = [
    ("HALF_A", "HALF_B", "PART", "CHANNEL"),
    ("DONOR", "MIRRORED", "SCAN"),
    ("NOTE", "PAPER"),
    ("CAUTION", "PAPER"),
    ("STOP", "PAPER"),
    ("INK", "PAPER"),
]


def seen_with(deficiency, color):
    encoded = rgb(color)
    linear = np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)
    seen = np.clip(np.array(DEFICIENCIES[deficiency]) @ linear, 0, 1)
    return np.where(seen <= 0.0031308, 12.92 * seen, 1.055 * seen ** (1 / 2.4) - 0.055)


@pytest.mark.parametrize(
    ("color", "expected"),
    [
        # published CIE L*a*b* (D65) of the sRGB primaries and of mid grey
        ("#ff0000", (53.24, 80.09, 67.20)),
        ("#00ff00", (87.73, -86.18, 83.18)),
        ("#0000ff", (32.30, 79.19, -107.86)),
        ("#808080", (53.59, 0.0, 0.0)),
    ],
)
def test_lab_of_known_colours(color, expected):
    np.testing.assert_allclose(lab_from_rgb(rgb(color)), expected, atol=0.02)


def test_lab_there_and_back():
    colors = np.random.default_rng(1).random((50, 3))
    np.testing.assert_allclose(rgb_from_lab(lab_from_rgb(colors)), colors, atol=1e-6)


@pytest.mark.parametrize("color_map", [SIGNED, DEPTH], ids=lambda m: m.name)
def test_maps_run_in_equal_steps(color_map):
    steps = np.linalg.norm(np.diff(lab_from_rgb(color_map.table), axis=0), axis=1)
    steps = steps[steps > 1e-9]  # the two arms of the signed map share their middle
    assert steps.max() / steps.min() < 1.4


def test_depth_only_darkens_and_the_signed_middle_is_lightest():
    assert (np.diff(lab_from_rgb(DEPTH.table)[:, 0]) < 0).all()
    lightness = lab_from_rgb(SIGNED.table)[:, 0]
    assert (np.diff(lightness[:128]) > 0).all()
    assert (np.diff(lightness[128:]) < 0).all()
    # in grey the negative end is clearly the darker one
    assert lightness[-1] - lightness[0] > 15


@pytest.mark.parametrize("names", TOGETHER, ids="-".join)
def test_colours_shown_together_differ_in_grey_and_without_colour_vision(names):
    colors = [getattr(palette, name) for name in names]
    for i, first in enumerate(colors):
        for second in colors[:i]:
            assert abs(lab_from_rgb(rgb(first))[0] - lab_from_rgb(rgb(second))[0]) >= 10
            for deficiency in DEFICIENCIES:
                one, other = (lab_from_rgb(seen_with(deficiency, c)) for c in (first, second))
                assert np.linalg.norm(one - other) >= 20


def test_text_contrast():
    # WCAG 2.2, success criterion 1.4.3: at least 4.5 to 1 for text
    def luminance(color):
        encoded = rgb(color)
        linear = np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)
        return float(linear @ [0.2126, 0.7152, 0.0722])

    paper = luminance(palette.PAPER)
    for name in ("INK", "NOTE", "STOP", "CLEAR"):
        assert (paper + 0.05) / (luminance(getattr(palette, name)) + 0.05) >= 4.5


def test_values_beyond_the_range_take_the_end_and_unknown_is_grey():
    colors = SIGNED.colors([-9.0, -1.0, 1.0, 9.0, np.nan], -1.0, 1.0)
    assert (colors[0] == colors[1]).all()
    assert (colors[2] == colors[3]).all()
    assert colors[4].tolist() == np.round(rgb(palette.UNKNOWN) * 255).tolist()


@pytest.mark.parametrize(
    ("values", "share", "expected"),
    [
        ([0.0], 1.0, 1.0),
        ([], 1.0, 1.0),
        ([np.nan, 0.011], 1.0, 0.015),
        ([-7.0, 1.0], 1.0, 8.0),
        ([95.0], 1.0, 100.0),
    ],
)
def test_rounded_range(values, share, expected):
    assert rounded_range(values, share=share) == pytest.approx(expected)

"""The landscape of pull directions."""

import io

import numpy as np
import pytest
from matplotlib.image import imread

from mirrorprep.errors import UsageError
from mirrorprep.handover.landscape import equal_area, picture_landscape, round_values
from mirrorprep.handover.palette import STOP, rgb
from mirrorprep.handover.sheet import GAP


def spread(count):
    """Points of a golden-angle spiral on the sphere."""
    index = np.arange(count) + 0.5
    z = 1 - 2 * index / count
    turn = index * np.pi * (3 - np.sqrt(5))
    flat = np.sqrt(1 - z * z)
    return np.column_stack([flat * np.cos(turn), flat * np.sin(turn), z])


def test_equal_area_is_equal_area():
    # Lambert's projection: the cap within angle t of the pole has the share (1 − cos t) of the half-sphere
    points = spread(200_000)
    points = points[points[:, 2] > 0]
    reach = np.linalg.norm(equal_area(points, 1.0), axis=1)
    for radius in (0.2, 0.5, 0.9):
        assert (reach < radius).mean() == pytest.approx(radius**2, abs=0.005)
    angle = np.radians(30)
    ring = equal_area([[np.sin(angle), 0, np.cos(angle)]], 1.0)[0, 0]
    assert ring == pytest.approx(np.sqrt(2) * np.sin(angle / 2))


def test_the_lower_half_is_seen_from_below():
    assert equal_area([[0.0, 1.0, 0.0]], -1.0)[0].tolist() == [0.0, -1.0]


def test_same_landscape_same_bytes():
    directions = spread(200)
    values = 1 - np.abs(directions[:, 2])
    first, second = (
        picture_landscape(
            directions,
            values,
            label="trapped volume",
            unit="mm³",
            marks=[([0, 0, 1], 0.1), ([0, 0, -1], 0.2)],
        )
        for _ in range(2)
    )
    assert first[:4] == b"\x89PNG"
    assert first == second


def has_color(picture, color, x, y, reach=9):
    square = picture[int(y) - reach : int(y) + reach, int(x) - reach : int(x) + reach, :3]
    return bool((np.abs(square - rgb(color)) < 0.02).all(axis=2).any())


def test_a_marked_direction_stands_where_its_angles_say():
    directions = spread(400)
    pull = np.array([0.49, -0.507, 0.709])
    tilt, turn = np.arccos(pull[2] / np.linalg.norm(pull)), np.arctan2(pull[1], pull[0])
    picture = imread(
        io.BytesIO(picture_landscape(directions, 2.0 + directions[:, 2], unit="%", marks=[(pull, 1.4)]))
    )
    # Lambert's projection: a ring of tilt t has the radius √2 sin(t/2) of the disc's; y points up.
    reach = 330 * np.sqrt(2) * np.sin(tilt / 2)
    center = np.array([2 * GAP + 66 + 330, 104 + 330])
    x, y = center + reach * np.array([np.cos(turn), -np.sin(turn)])
    assert has_color(picture, STOP, x, y)
    assert not has_color(picture, STOP, *(2 * center - [x, y]))


def test_colours_tell_small_values_apart():
    # 1 to 100: what lies near the least value has colours of its own.
    directions = spread(2000)
    values = 1.0 + 99.0 * (1.0 - np.abs(directions[:, 2])) ** 2
    picture = imread(io.BytesIO(picture_landscape(directions, values)))
    center = np.array([2 * GAP + 66 + 330, 104 + 330])
    at = [int(center[0] - 330 * np.sqrt(2) * np.sin(np.radians(tilt) / 2)) for tilt in (5, 35, 50)]
    lightness = [picture[center[1] + 7, x, :3].mean() for x in at]
    assert lightness[0] > lightness[1] + 0.02 > lightness[2] + 0.04


def test_lines_are_drawn_at_round_values():
    assert round_values((0.0, 0.1)).tolist() == [1e-3, 2e-3, 5e-3, 0.01, 0.02, 0.05]
    assert round_values((3.0, 3.0)).tolist() == []
    assert round_values((-5.0, 4.0)).size <= 6


def test_flat_and_unknown_values_are_no_trouble():
    directions = spread(50)
    assert picture_landscape(directions, np.full(50, 2.0))[:4] == b"\x89PNG"
    assert picture_landscape(directions, np.full(50, np.nan))[:4] == b"\x89PNG"


def test_too_few_directions():
    with pytest.raises(UsageError, match="3 directions with 3 values"):
        picture_landscape(np.eye(3), np.ones(3))

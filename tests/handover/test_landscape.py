"""The landscape of pull directions."""

import numpy as np
import pytest

from mirrorprep.errors import UsageError
from mirrorprep.handover.landscape import equal_area, picture_landscape


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
            directions, values, label="trapped volume", unit="mm³", chosen=[0, 0, 1], others=[[0, 0, -1]]
        )
        for _ in range(2)
    )
    assert first[:4] == b"\x89PNG"
    assert first == second


def test_flat_and_unknown_values_are_no_trouble():
    directions = spread(50)
    assert picture_landscape(directions, np.full(50, 2.0))[:4] == b"\x89PNG"
    assert picture_landscape(directions, np.full(50, np.nan))[:4] == b"\x89PNG"


def test_too_few_directions():
    with pytest.raises(UsageError, match="3 directions with 3 values"):
        picture_landscape(np.eye(3), np.ones(3))

"""The parting line on the part."""

import io

import numpy as np
from matplotlib.image import imread

from mirrorprep.handover.palette import HALF_A, HALF_B, STOP, rgb
from mirrorprep.handover.parting_pictures import picture_parting
from mirrorprep.solid.primitives import sphere


def test_parting_line_lies_between_the_halves_colours(small_panels):
    ball = sphere(10).mesh
    above = ball.vertices[ball.faces].mean(axis=1)[:, 2] > 0.0
    angle = np.linspace(0.0, 2.0 * np.pi, 90, endpoint=False)
    equator = 10.0 * np.column_stack([np.cos(angle), np.sin(angle), 0.0 * angle])
    drawn, bare = (
        imread(io.BytesIO(picture_parting(ball, above, lines, [0, 0, 1], up=[0, 1, 0])))[:, :, :3]
        for lines in ([equator], [])
    )
    assert drawn.shape == bare.shape
    panel = slice(0, drawn.shape[1] // 3)

    def rows(picture, color):
        return np.flatnonzero((np.abs(picture[:-70, panel] - rgb(color)) < 0.03).all(axis=2).any(axis=1))

    assert len(rows(bare, STOP)) == 0
    line = rows(drawn, STOP)
    middle = (line.min() + line.max()) / 2.0
    height = drawn.shape[0] - 70
    assert abs(middle - height / 2.0) < 0.15 * height
    blue = np.abs(bare[: int(middle) - 12, panel] - rgb(HALF_A)).sum(axis=2).min()
    sand = np.abs(bare[int(middle) + 12 : -70, panel] - rgb(HALF_B)).sum(axis=2).min()
    assert max(blue, sand) < 0.3


def test_a_line_that_something_hides_is_dotted(small_panels):
    ball = sphere(10).mesh
    above = np.ones(len(ball.faces), dtype=bool)
    behind = np.array([[-3.0, -3.0, 0.0], [3.0, -3.0, 0.0], [3.0, 3.0, 0.0], [-3.0, 3.0, 0.0]])
    outer = 12.0 / 3.0 * behind  # outside the ball, seen from everywhere
    inside, seen = (
        (
            np.abs(imread(io.BytesIO(picture_parting(ball, above, [loop], [0, 0, 1])))[:, :, :3] - rgb(STOP))
            < 0.03
        )
        .all(axis=2)[:-70]
        .sum()
        for loop in (behind, outer)
    )
    assert inside < 0.15 * seen

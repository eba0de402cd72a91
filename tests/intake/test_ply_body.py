"""The PLY body: uneven rows in every encoding, and unaligned numbers."""

import numpy as np
import pytest

from mirrorprep.intake.ply_body import Body
from mirrorprep.intake.ply_header import Element, Header, Property

ROWS = [[1.5], [], [2.5, 3.5, -4.5]]
ELEMENT = Element(
    name="e",
    rows=3,
    properties=(
        Property(name="a", item="u1"),
        Property(name="b", item="f8", count="u2"),
        Property(name="c", item="i2"),
        Property(name="d", item="u4", count="u1"),
    ),
)


def binary(order):
    out = b"#"
    for k, row in enumerate(ROWS):
        out += bytes([k]) + np.array(len(row), order + "u2").tobytes() + np.array(row, order + "f8").tobytes()
        out += np.array(-k, order + "i2").tobytes() + bytes([k]) + np.arange(k, dtype=order + "u4").tobytes()
    return out


@pytest.mark.parametrize("order", ["", "<", ">"])
def test_uneven_rows(order):
    text = b"#0 1 1.5 0 0\n1 0 -1 1 0\n2 3 2.5 3.5 -4.5 -2 2 0 1 99"
    data = binary(order) if order else text
    body = Body(data, Header(order=order, elements=(ELEMENT,), body=1, lines=0))
    table = body.table(ELEMENT)
    assert table.columns[0].tolist() == [0, 1, 2]
    assert table.columns[2].tolist() == [0, -1, -2]
    assert table.lists[1][0].tolist() == [1, 0, 3]
    assert table.lists[1][1].tolist() == [1.5, 2.5, 3.5, -4.5]
    assert table.lists[3][1].tolist() == [0, 0, 1]
    assert body.left == (0 if order else 1)


def test_even_and_uneven_paths_agree():
    rng = np.random.default_rng(0)
    element = Element(name="f", rows=50, properties=(Property(name="v", item="i4", count="u1"),))
    rows = np.zeros(50, dtype=[("n", "u1"), ("v", "<i4", 3)])
    rows["n"], rows["v"] = 3, rng.integers(0, 9, (50, 3))
    body = Body(rows.tobytes(), Header(order="<", elements=(element,), body=0, lines=0))
    walked = Body(rows.tobytes(), Header(order="<", elements=(element,), body=0, lines=0))._walked(element)
    even = body.table(element)
    np.testing.assert_array_equal(even.lists[0][1], walked.lists[0][1])
    np.testing.assert_array_equal(even.lists[0][0], walked.lists[0][0])


def test_nothing_is_empty():
    element = Element(name="e", rows=0, properties=ELEMENT.properties)
    table = Body(b"", Header(order="<", elements=(element,), body=0, lines=0)).table(element)
    assert sorted(table.columns) == [0, 2]
    assert sorted(table.lists) == [1, 3]

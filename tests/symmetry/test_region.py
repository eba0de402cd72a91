"""Regions: shapes, files, refusals."""

import json

import numpy as np
import pytest

from mirrorprep.errors import InputFileError, UsageError
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.symmetry.region import Entry, Region, read_region


@pytest.fixture
def row() -> ScanMesh:
    """Five triangles with centroids at x = 0, 10, 20, 30, 40."""
    corner = np.array([[-1.0, -1, 0], [2, -1, 0], [-1, 2, 0]])
    vertices = np.concatenate([corner + np.array([10.0 * k, 0, 0]) for k in range(5)])
    return ScanMesh(vertices=vertices, faces=np.arange(15).reshape(-1, 3))


def entries(*items):
    return Region(entries=tuple(Entry(action=a, shape=s, numbers=tuple(n)) for a, s, n in items))


@pytest.mark.parametrize(
    ("region", "expected"),
    [
        (entries(("use", "box", (45, 5, 5, 15, -5, -5))), [0, 0, 1, 1, 1]),
        (entries(("leave-out", "sphere", (20, 0, 0, 11))), [1, 0, 0, 0, 1]),
        (entries(("use", "faces", (0, 3))), [1, 0, 0, 1, 0]),
        (entries(("leave-out", "vertices", (3, 14))), [1, 0, 1, 1, 0]),
        (
            entries(("use", "faces", (0, 1)), ("use", "faces", (2,)), ("leave-out", "faces", (1,))),
            [1, 0, 1, 0, 0],
        ),
    ],
)
def test_shapes(row, region, expected):
    assert region.mask(row).astype(int).tolist() == expected


def test_text_and_json_say_the_same(tmp_path, row):
    text, data = tmp_path / "region.txt", tmp_path / "region.json"
    text.write_text("use box -5 -5 -5 25 5 5 # front\n\nleave-out sphere 10 0 0 2\n", encoding="utf-8")
    region = read_region(text)
    assert region.mask(row).tolist() == [True, False, True, False, False]
    data.write_text(json.dumps(region.as_dict()), encoding="utf-8")
    assert read_region(data) == region


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "0 entries"),
        ("use box 1 2 3", "Line 1"),
        ("use\n", "Line 1"),
        ("keep box 1 2 3 4 5 6", "keep"),
        ("use ball 1 2 3 4", "ball"),
        ("use sphere 0 0 0 -1", "radius"),
        ("use sphere 0 0 0 nan", "finite"),
        ("use sphere a b c d", "Line 1"),
        ('{"use": 3}', "not understood"),
        ('{"use": [{"box": "abcdef"}]}', "not understood"),
    ],
)
def test_bad_files_are_refused(tmp_path, text, told):
    file = tmp_path / "region.txt"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(InputFileError, match=told):
        read_region(file)


def test_absent_file(tmp_path):
    with pytest.raises(InputFileError, match="cannot be read"):
        read_region(tmp_path / "absent.json")


@pytest.mark.parametrize("numbers", [(5,), (-1,), (0.5,)])
def test_numbers_outside_the_mesh(row, numbers):
    with pytest.raises(UsageError, match="outside 0 to 4"):
        entries(("use", "faces", numbers)).mask(row)


def test_nothing_left(row):
    with pytest.raises(UsageError, match="0 of 5"):
        entries(("use", "sphere", (900, 0, 0, 1))).mask(row)

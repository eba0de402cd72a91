"""What all readers share: refusing, counting, checking indices."""

import numpy as np
import pytest

from mirrorprep.errors import InputFileError
from mirrorprep.intake.raw import RawMesh, checked_indices, limit_triangles, no_triangles, note


def test_counts_with_and_without_faces():
    assert RawMesh(vertices=np.zeros((9, 3)), faces=None).triangle_count == 3
    assert RawMesh(vertices=np.zeros((9, 3)), faces=np.zeros((2, 3), dtype=np.int64)).triangle_count == 2


def test_noting_adds_and_leaves_the_first_alone():
    raw = RawMesh(vertices=np.zeros((3, 3)), faces=None)
    assert [f.code for f in raw.noting(note("a", "A.")).noting(note("b", "B.")).findings] == ["a", "b"]
    assert raw.findings == ()


def test_first_wrong_index_is_named():
    with pytest.raises(
        InputFileError, match=r"2 triangles .*first: triangle 2, vertex index -1; the file holds 3"
    ):
        checked_indices(np.array([[0, 1, 2], [0, -1, 2], [3, 0, 1]]), 3)
    assert checked_indices(np.array([[0, 1, 2]], dtype=np.uint8), 3).dtype == np.int64
    assert checked_indices(np.zeros((0, 3), dtype=np.uint8), 0).shape == (0, 3)


def test_what_is_there_instead_of_triangles():
    with pytest.raises(InputFileError, match="holds 5 points and 2 lines but no triangles"):
        no_triangles(5, 2)
    with pytest.raises(InputFileError, match="holds no triangles"):
        no_triangles()


def test_limit():
    with pytest.raises(InputFileError, match=r"20000001 triangles \(limit 20000000\)"):
        limit_triangles(20_000_001)

"""Numbers out of text, many lines at once."""

import numpy as np
import pytest

from mirrorprep.errors import InputFileError
from mirrorprep.intake.text import blocks, looks_like_text, parse_integers, parse_numbers, plain_text


def test_marks_and_line_ends_vanish():
    assert plain_text(b"\xef\xbb\xbfa\r\nb\rc\n") == b"a\nb\nc\n"
    assert plain_text("é\r\n".encode("utf-16")) == "é\n".encode()
    assert plain_text("é".encode("utf-32")) == "é".encode()
    assert plain_text(b"plain") == b"plain"


@pytest.mark.parametrize("size", [1, 7, 40, 10**6])
def test_blocks_number_their_lines(monkeypatch, size):
    monkeypatch.setattr("mirrorprep.intake.text._BLOCK_BYTES", size)
    text = b"v 1 2\n\n# x\n  V 3 4 # y\nvn 9\nv\t5 6"
    found = list(blocks(text, comment=b"#"))
    lines = np.concatenate([b.first_line + np.flatnonzero(b.keyed(b"v")) for b in found])
    numbers = np.concatenate([b.numbers(b.keyed(b"v"), skip=1) for b in found])
    assert lines.tolist() == [1, 4, 6]
    assert numbers.tolist() == [1, 2, 3, 4, 5, 6]
    assert sum(len(b.counts) for b in found) == 6


def test_line_and_counts():
    block = next(blocks(b"a b  c\n\n d\n"))
    assert block.counts.tolist() == [3, 0, 1]
    assert block.line(0) == b"a b  c"
    assert block.keyed(b"d").tolist() == [False, False, True]


@pytest.mark.parametrize("word", [b"1_0", b"1e5e", b"0x10", b"1.0-1.0", b"--1", b"1\x00", b"1\xff"])
def test_wrong_numbers_are_placed(word):
    assert parse_numbers(b"1 " + word) is None
    block = next(blocks(b"v 1\nv " + word + b"\n", line_number=10))
    with pytest.raises(InputFileError, match="Line 11 holds"):
        block.numbers(block.keyed(b"v"), skip=1)


def test_numbers_of_nothing():
    assert parse_numbers(b"").tolist() == []
    assert parse_numbers(b" \n ").tolist() == []
    assert parse_integers(b"").dtype == np.int64
    assert list(blocks(b"")) == []


def test_text_and_binary_are_told_apart():
    assert looks_like_text("solid Größe\n".encode())
    assert not looks_like_text(b"solid\x00")

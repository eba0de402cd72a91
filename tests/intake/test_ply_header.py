"""The PLY header on its own."""

import pytest

from mirrorprep.errors import InputFileError
from mirrorprep.intake.ply_header import read_header


def test_header_is_understood():
    data = (
        b"ply\nformat binary_big_endian 1.0\ncomment x\nobj_info y\nelement vertex 2\nproperty double x\n"
        b"element face 1\nproperty list ushort int32 vertex_index\nproperty int8 k\nend_header\nBODY"
    )
    header = read_header(data)
    assert header.order == ">"
    assert [(e.name, e.rows, e.smallest_row) for e in header.elements] == [("vertex", 2, 8), ("face", 1, 3)]
    assert header.elements[1].place("vertex_indices", "vertex_index") == 0
    assert header.elements[1].place("nothing") is None
    assert data[header.body :] == b"BODY"
    assert header.lines == 10


@pytest.mark.parametrize("end", [b"\n", b"\r", b"\r\n", b" \n"])
def test_body_begins_behind_any_line_end(end):
    lines = [b"ply", b"format ascii 1.0", b"end_header", b""]
    text = end.join(lines)
    assert read_header(text + b"7\n").body == len(text)


def test_newline_byte_behind_bare_carriage_returns_belongs_to_the_body():
    text = b"ply\rformat ascii 1.0\rend_header\r"
    assert read_header(text + b"\n7").body == len(text)


def test_header_without_end_is_refused_quickly():
    with pytest.raises(InputFileError, match="does not end"):
        read_header(b"ply\n" + b"comment\n" * 10**6)

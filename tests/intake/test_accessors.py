"""glTF accessors: strides, sparse replacement, normalising, embedded buffers."""

import base64

import numpy as np
import pytest

from mirrorprep.errors import InputFileError
from mirrorprep.intake.accessors import Accessors


def document(**accessor):
    return {
        "buffers": [{"byteLength": 64}],
        "bufferViews": [{"buffer": 0, "byteOffset": 4, "byteLength": 60, "byteStride": 20}],
        "accessors": [{"bufferView": 0, "componentType": 5126, "count": 3, "type": "VEC3", **accessor}],
    }


BINARY = np.arange(16, dtype="<f4").tobytes()


def test_stride_and_offset():
    values = Accessors(document(byteOffset=4), BINARY).read(0, widths=(3,))
    assert values.tolist() == [[2, 3, 4], [7, 8, 9], [12, 13, 14]]


def test_overlapping_elements():
    text = document(count=4)
    text["bufferViews"][0]["byteStride"] = 4
    assert Accessors(text, BINARY).read(0, widths=(3,))[3].tolist() == [4, 5, 6]


def test_sparse_replaces_rows_with_and_without_a_base():
    text = document()
    text["bufferViews"].append({"buffer": 0, "byteLength": 64})
    text["accessors"][0]["sparse"] = {
        "count": 1,
        "indices": {"bufferView": 1, "componentType": 5121, "byteOffset": 0},
        "values": {"bufferView": 1, "byteOffset": 48},
    }
    values = Accessors(text, BINARY).read(0, widths=(3,))
    assert values.tolist() == [[12, 13, 14], [6, 7, 8], [11, 12, 13]]
    del text["accessors"][0]["bufferView"]
    assert Accessors(text, BINARY).read(0, widths=(3,)).tolist() == [[12, 13, 14], [0, 0, 0], [0, 0, 0]]


@pytest.mark.parametrize(
    ("sparse", "words"),
    [
        ([], "not an object"),
        ({"count": 1}, "lacks its indices"),
        (
            {
                "count": 2,
                "indices": {"bufferView": 0, "componentType": 5123, "byteOffset": 2},
                "values": {"bufferView": 0},
            },
            "do not exist",
        ),
        (
            {"count": 1, "indices": {"bufferView": 0, "componentType": 5126}, "values": {"bufferView": 0}},
            "do not exist",
        ),
    ],
)
def test_refused_sparse(sparse, words):
    with pytest.raises(InputFileError, match=words):
        Accessors(document(sparse=sparse), BINARY).read(0, widths=(3,))


def test_count_without_data_is_bounded_by_the_file():
    text = document(count=50_000_000)
    del text["accessors"][0]["bufferView"]
    with pytest.raises(InputFileError, match="50000000 elements without data"):
        Accessors(text, BINARY).read(0, widths=(3,))


def test_normalised_numbers():
    """Section 3.11 of the glTF 2.0 specification: c / 255 and max(c / 127, −1)."""
    text = document(componentType=5120, count=1, normalized=True)
    values = Accessors(text, b"\0\0\0\0" + bytes([127, 128, 0]) + b"\0" * 57).read(0, widths=(3,))
    assert values.tolist() == [[1.0, -1.0, 0.0]]
    text = document(componentType=5121, count=1, normalized=True)
    values = Accessors(text, b"\0\0\0\0" + bytes([255, 51, 0]) + b"\0" * 57).read(0, widths=(3,))
    assert values.tolist() == [[1.0, 0.2, 0.0]]


def test_embedded_buffer():
    text = document()
    text["buffers"] = [{"uri": "data:application/octet-stream;base64," + base64.b64encode(BINARY).decode()}]
    assert Accessors(text, b"").read(0, widths=(3,))[0].tolist() == [1, 2, 3]


def test_second_buffer_without_data():
    text = document()
    text["buffers"].append({"byteLength": 64})
    text["bufferViews"][0]["buffer"] = 1
    with pytest.raises(InputFileError, match="Buffer 1 has no data"):
        Accessors(text, BINARY).read(0, widths=(3,))


def test_nothing_is_empty():
    assert Accessors(document(count=0), BINARY).read(0, widths=(3,)).shape == (0, 3)

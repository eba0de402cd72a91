"""Plain data is JSON that a browser takes."""

import json

import pytest

from mirrorprep.bench.plain import as_json, plain
from mirrorprep.solid.finding import Severity


def test_what_is_no_json_becomes_it():
    value = {1: (float("inf"), 2.5), "b": {"c": Severity.STOP, "d": None, "e": True}}
    assert plain(value) == {"1": [None, 2.5], "b": {"c": "stop", "d": None, "e": True}}
    assert json.loads(as_json(value)) == plain(value)


def test_anything_else_is_refused():
    with pytest.raises(TypeError):
        as_json(object())

"""Running the command line inside the test process."""

import json
import sys
from dataclasses import dataclass
from typing import Any

import pytest

from mirrorprep.cli.main import build_app, run


@dataclass
class Answer:
    """What a command said."""

    code: int
    out: str
    err: str

    @property
    def json(self) -> dict[str, Any]:
        return json.loads(self.out)


@pytest.fixture
def mirrorprep(monkeypatch, capsys):
    """Return a function that runs a command and returns its answer."""

    def call(*words: object) -> Answer:
        monkeypatch.setattr(sys, "argv", ["mirrorprep", *map(str, words)])
        code = run(build_app())
        said = capsys.readouterr()
        return Answer(code, said.out, said.err)

    return call

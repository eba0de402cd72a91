"""Fixtures of the intake tests: sample files, and reading from bytes."""

import importlib.util
import sys
from pathlib import Path

import pytest

from mirrorprep.intake.read import read_scan


def _load(name, path):
    spec = importlib.util.spec_from_file_location(name, path)
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def samples():
    """The module that writes small files of every format."""
    return _load("intake_samples", Path(__file__).with_name("samples.py"))


@pytest.fixture(scope="session")
def fuzz():
    """The module that runs the fuzz campaign."""
    return _load("fuzz_intake", Path(__file__).parents[1] / "fuzz_intake.py")


@pytest.fixture
def read(tmp_path):
    """Read a scan from bytes, in millimetres unless told otherwise."""

    def reader(data, name, units="mm", **options):
        path = tmp_path / name
        path.write_bytes(data)
        return read_scan(path, units, **options)

    return reader


@pytest.fixture
def codes():
    """The codes of a mesh's findings."""
    return lambda mesh: [finding.code for finding in mesh.origin.findings]

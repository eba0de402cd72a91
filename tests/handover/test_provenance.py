"""Digests, versions, settings."""

import hashlib
import shutil
import subprocess
from dataclasses import dataclass

import numpy as np
import pytest

import mirrorprep
from mirrorprep.errors import InputFileError, OutputError
from mirrorprep.handover.provenance import (
    PRODUCED_BY,
    flat_settings,
    library_versions,
    sha256_of_file,
    write_digests,
)


def test_sha256_of_known_content(tmp_path):
    # FIPS 180-4 example: "abc"
    (tmp_path / "a").write_bytes(b"abc")
    assert (
        sha256_of_file(tmp_path / "a") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    )
    with pytest.raises(InputFileError, match="cannot be read"):
        sha256_of_file(tmp_path / "absent")


def test_versions():
    versions = library_versions()
    assert versions["mirrorprep"] == mirrorprep.__version__
    assert versions["numpy"] == np.__version__
    assert library_versions(["no-such-package-here"])["no-such-package-here"] == "absent"
    assert f"mirrorprep {mirrorprep.__version__}" == PRODUCED_BY


def test_settings_are_flattened():
    @dataclass(frozen=True)
    class Table:
        wall_mm: float = 6.0
        pull: tuple[int, ...] = (0, 0, 1)

    flat = flat_settings({"mould": Table(), "direction": np.array([1.0, 0.0]), "seed": 3})
    assert flat == {"mould.wall_mm": 6.0, "mould.pull": [0, 0, 1], "direction": [1.0, 0.0], "seed": 3}


def test_digests_are_written_sorted_and_readable_elsewhere(tmp_path):
    for name in ("b.stl", "a.3mf"):
        (tmp_path / name).write_bytes(name.encode())
    path = write_digests(tmp_path, ["b.stl", "a.3mf"])
    lines = path.read_text().splitlines()
    assert lines[0] == f"{hashlib.sha256(b'a.3mf').hexdigest()}  a.3mf"
    if shutil.which("sha256sum"):
        done = subprocess.run(
            ["sha256sum", "--check", path.name], cwd=tmp_path, capture_output=True, check=False
        )
        assert done.returncode == 0
    with pytest.raises(OutputError, match="exists already"):
        write_digests(tmp_path, ["a.3mf"])

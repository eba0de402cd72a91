"""The shipped files and the table of true values are what the code makes."""

import json
import os
import subprocess
import sys

import numpy as np
import pytest

from demo_shapes.table import FILES, TABLE, small_shapes, table_text
from mirrorprep.intake.read import read_scan
from mirrorprep.solid.certify import examine

FLOAT_MM = 1e-6


def assert_same(found, shipped, path=""):
    """Compare nested values, numbers to the table's digits."""
    if isinstance(shipped, dict):
        assert found.keys() == shipped.keys(), path
        for key, value in shipped.items():
            assert_same(found[key], value, f"{path}/{key}")
    elif isinstance(shipped, list):
        assert len(found) == len(shipped), path
        for number, value in enumerate(shipped):
            assert_same(found[number], value, f"{path}/{number}")
    elif isinstance(shipped, float):
        assert found == pytest.approx(shipped, rel=1e-9, abs=2e-6), path
    else:
        assert found == shipped, path


def test_table_is_made_again():
    assert_same(json.loads(table_text()), json.loads(TABLE.read_text(encoding="utf-8")))


def test_a_wrong_table_would_be_noticed():
    table = json.loads(TABLE.read_text(encoding="utf-8"))
    other = json.loads(json.dumps(table))
    other["organic"][0]["volume_mm3"] *= 1 + 1e-6
    with pytest.raises(AssertionError):
        assert_same(other, table)


@pytest.mark.parametrize("stem", ["head-small", "ear-small", "animal-small"])
def test_shipped_files_are_made_again(stem):
    shipped = read_scan(FILES / f"{stem}.ply", units="mm")
    made = small_shapes()[stem]
    assert examine(shipped).solid
    assert np.array_equal(shipped.faces, made.faces)
    assert np.abs(shipped.vertices - made.vertices).max() <= FLOAT_MM


def test_bytes_do_not_depend_on_the_number_of_threads():
    script = (
        "import hashlib, demo_shapes\n"
        "head = demo_shapes.phantom_head('small', asymmetry_mm=0.5)\n"
        "for mesh in (head.scan, head.true_ear, demo_shapes.damage(head.scan, ['raw'])):\n"
        "    print(hashlib.sha256(mesh.vertices.tobytes() + mesh.faces.tobytes()).hexdigest())\n"
    )
    answers = set()
    for threads in ("1", "3"):
        limits = {"OMP_NUM_THREADS": threads, "OPENBLAS_NUM_THREADS": threads, "MKL_NUM_THREADS": threads}
        done = subprocess.run(
            [sys.executable, "-c", script],
            env={**os.environ, **limits, "PYTHONPATH": str(FILES.parents[1])},
            capture_output=True,
            text=True,
            check=True,
        )
        answers.add(done.stdout)
    assert len(answers) == 1
    assert len(answers.pop().split()) == 3


def test_shipped_files_agree_with_the_table():
    table = {entry["name"]: entry for entry in json.loads(TABLE.read_text(encoding="utf-8"))["organic"]}
    for stem in ("head-small", "ear-small", "animal-small"):
        shipped = read_scan(FILES / f"{stem}.ply", units="mm")
        assert examine(shipped).signed_volume_mm3 == pytest.approx(table[stem]["volume_mm3"], abs=1e-5)
        assert len(shipped.faces) == table[stem]["triangles"]


def test_shipped_files_are_small():
    assert sum(file.stat().st_size for file in FILES.iterdir()) < 3e6

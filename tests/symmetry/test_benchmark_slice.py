"""A small fixed slice of tests/benchmarks/mirror_plane.py."""

import sys
from pathlib import Path

import pytest

pytest.importorskip("pyvista")

SLICE = [
    ("clean", "phantom", 0.02),
    ("crop 40 %", "phantom", 0.1),
    ("clutter 40 %", "phantom", 0.05),
    ("blob + noise 0.2 % + clutter 20 %", "phantom", 0.2),
    ("crop 20 %", "airplane", 0.1),
    ("one side at 10 % density", "airplane", 0.5),
]


@pytest.fixture(scope="module")
def benchmark():
    folder = str(Path(__file__).resolve().parents[1] / "benchmarks")
    sys.path.insert(0, folder)
    try:
        import mirror_plane

        yield mirror_plane
    finally:
        sys.path.remove(folder)


@pytest.mark.parametrize(("condition", "name", "limit_deg"), SLICE)
def test_correct_or_flagged(benchmark, condition, name, limit_deg):
    found = benchmark.ours(condition, name, 0)
    assert found["status"] != "clear" or found["ours"][0] < limit_deg
    assert found["ours"][0] < limit_deg

"""Reading scans: units, welding and findings that all formats share."""

import numpy as np
import pytest

from mirrorprep.errors import InputFileError, UsageError
from mirrorprep.intake.read import read_scan

CORNER = "v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n"


def codes(mesh):
    return [finding.code for finding in mesh.origin.findings]


def test_unit_is_guessed_with_a_caution(tmp_path):
    path = tmp_path / "a.obj"
    path.write_text(CORNER)
    mesh = read_scan(path)
    assert codes(mesh) == ["unit-guessed"]
    assert mesh.origin.units == "mm"


def test_stated_unit_scales_and_leaves_no_finding(tmp_path):
    path = tmp_path / "a.obj"
    path.write_text(CORNER)
    mesh = read_scan(path, "in")
    assert mesh.size_mm.tolist() == [25.4, 25.4, 0.0]
    assert codes(mesh) == []


def test_origin_never_holds_the_name(tmp_path):
    path = tmp_path / "family_name.obj"
    path.write_text(CORNER)
    assert "family_name" not in repr(read_scan(path).origin)


@pytest.mark.parametrize("unit", ["mile", "", "MM"])
def test_unknown_unit_is_a_usage_error(tmp_path, unit):
    path = tmp_path / "a.obj"
    path.write_text(CORNER)
    with pytest.raises(UsageError, match="not a length unit"):
        read_scan(path, unit)


@pytest.mark.parametrize("weld_mm", [-1.0, np.nan, np.inf])
def test_impossible_tolerance_is_a_usage_error(tmp_path, weld_mm):
    path = tmp_path / "a.obj"
    path.write_text(CORNER)
    with pytest.raises(UsageError, match="welding tolerance"):
        read_scan(path, weld_mm=weld_mm)


def test_missing_file(tmp_path):
    with pytest.raises(InputFileError, match="There is no file"):
        read_scan(tmp_path / "nothing.stl")

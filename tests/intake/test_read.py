"""Reading scans: units, welding, findings and errors that all formats share."""

import dataclasses
import pickle
import tracemalloc

import numpy as np
import pytest

import mirrorprep
from mirrorprep.errors import CancelledError, InputFileError, UsageError
from mirrorprep.intake.registry import FORMATS
from mirrorprep.progress import Progress

CORNER = b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n"


def test_public_name_and_positional_unit(tmp_path):
    (tmp_path / "a.obj").write_bytes(CORNER)
    by_name = mirrorprep.read_scan(tmp_path / "a.obj", units="cm")
    by_place = mirrorprep.read_scan(str(tmp_path / "a.obj"), "cm")
    np.testing.assert_array_equal(by_name.vertices, by_place.vertices)
    assert by_name.origin == by_place.origin


def test_unit_is_guessed_with_a_caution(read):
    mesh = read(CORNER, "a.obj", units=None)
    (finding,) = mesh.origin.findings
    assert (finding.code, str(finding.severity)) == ("unit-guessed", "caution")
    assert "1 × 1 × 0 mm" in finding.message
    assert mesh.origin.units == "mm"


@pytest.mark.parametrize(
    ("unit", "factor"), [("micron", 0.001), ("mm", 1), ("cm", 10), ("in", 25.4), ("m", 1000)]
)
def test_stated_unit_scales_and_leaves_no_finding(read, codes, unit, factor):
    mesh = read(CORNER, "a.obj", unit)
    assert mesh.size_mm.tolist() == [factor, factor, 0.0]
    assert codes(mesh) == []
    assert mesh.origin.units == unit


@pytest.mark.parametrize("unit", ["mile", "", "MM"])
def test_unknown_unit_is_a_usage_error(read, unit):
    with pytest.raises(UsageError, match="not a length unit"):
        read(CORNER, "a.obj", unit)


def test_origin_never_holds_the_name(read):
    assert "family_name" not in repr(read(CORNER, "family_name.obj").origin)


def test_same_file_same_bytes(samples, read):
    data = samples.stl_binary(*samples.torus())
    first, second = (pickle.dumps(read(data, "a.stl")) for _ in range(2))
    assert first == second


@pytest.mark.parametrize("weld_mm", [-1.0, np.nan, np.inf])
def test_impossible_tolerance_is_a_usage_error(read, weld_mm):
    with pytest.raises(UsageError, match="welding tolerance"):
        read(CORNER, "a.obj", weld_mm=weld_mm)


def test_numbers_too_coarse_far_from_the_origin_are_a_caution(samples, read, codes):
    """At 4·10⁶ a float32 steps by 0.25 (IEEE 754: 2⁻²³ relative)."""
    points, faces = samples.torus()
    far = points + np.float32(4e6)
    mesh = read(samples.ply(far, faces), "a.ply")
    finding = next(f for f in mesh.origin.findings if f.code == "coarse-coordinates")
    assert finding.measured == 0.25
    assert "coarse-coordinates" not in codes(read(samples.ply(far, faces, kind="f8"), "b.ply"))


def test_every_foreign_error_is_mapped(read, monkeypatch):
    for error in (
        KeyError("x"),
        RecursionError(),
        StopIteration(),
        ZeroDivisionError(),
        UnicodeError(),
        IndexError(),
    ):

        def fail(data, progress, error=error):
            raise error

        monkeypatch.setitem(FORMATS, "obj", dataclasses.replace(FORMATS["obj"], read=fail))
        with pytest.raises(InputFileError, match=type(error).__name__):
            read(CORNER, "a.obj")


def test_lack_of_memory_is_mapped(read, monkeypatch):
    def fail(data, progress):
        raise MemoryError

    monkeypatch.setitem(FORMATS, "obj", dataclasses.replace(FORMATS["obj"], read=fail))
    with pytest.raises(InputFileError, match="more memory than is free"):
        read(CORNER, "a.obj")


def test_progress_rises_and_can_be_cancelled(samples, read):
    seen = []
    for name, data in samples.every_format().items():
        seen.clear()
        read(data, name, progress=Progress(lambda _, fraction: seen.append(fraction)))
        assert seen == sorted(seen)
        assert seen[-1] == 1.0
        with pytest.raises(CancelledError):
            read(data, name, progress=Progress(cancelled=lambda: len(seen) > 0))


def test_reading_loads_no_mesh_library():
    import subprocess
    import sys

    code = (
        "import sys, mirrorprep.intake.read; sys.exit(bool({'trimesh', 'scipy', 'vtk'} & set(sys.modules)))"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


@pytest.mark.parametrize("kind", ["stl_binary", "ply"])
def test_memory_per_triangle(samples, tmp_path, kind):
    """600 MiB for a million triangles leave 550 bytes for each, libraries aside; half of that is allowed."""
    points, faces = samples.torus(400, 250)
    data = getattr(samples, kind)(points, faces)
    (tmp_path / "a").write_bytes(data)
    del data
    mirrorprep.read_scan(tmp_path / "a", "mm")
    tracemalloc.start()
    mirrorprep.read_scan(tmp_path / "a", "mm")
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak / len(faces) < 275

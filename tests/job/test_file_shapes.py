"""Shapes that 32-bit numbers can hold."""

import numpy as np

from mirrorprep.handover.files import write_stl
from mirrorprep.intake.read import read_scan
from mirrorprep.job.file_shapes import fit_for_files, rounding_findings
from mirrorprep.mould.proof import welded_faults
from mirrorprep.solid.certify import certify, examine
from mirrorprep.solid.primitives import box, sphere


def with_a_short_edge():
    """Return a far ball with two vertices closer than 32-bit numbers tell apart there, 1.5e-5 mm."""
    mesh = sphere(10, segments=32).translated([150.0, 150.0, 150.0]).mesh
    vertices = np.array(mesh.vertices)
    one, other, _ = mesh.faces[40]
    vertices[one] = vertices[other] + 1e-6 * (vertices[one] - vertices[other])
    return certify(mesh.with_geometry(vertices, mesh.faces))


def test_the_fault_is_there_and_goes(tmp_path):
    solid = with_a_short_edge()
    write_stl(solid, tmp_path / "before.stl")
    assert not examine(read_scan(tmp_path / "before.stl", units="mm")).solid
    assert welded_faults(solid.mesh) != (0, 0)
    fit = fit_for_files(solid)
    write_stl(fit, tmp_path / "after.stl")
    read = certify(read_scan(tmp_path / "after.stl", units="mm"))
    assert abs(read.volume_mm3 / solid.volume_mm3 - 1) < 1e-6
    assert rounding_findings("part", fit) == ()


def test_a_shape_that_is_fit_stays_as_it_is():
    cube = box([1, 2, 3])
    assert fit_for_files(cube) is cube


def test_a_caution_says_what_a_reader_would_find():
    found = rounding_findings("mirrored_part", box([1e-9, 2, 3]).translated([100.0, 0, 0]))
    assert [finding.code for finding in found] == ["stl-not-closed"]
    assert "mirrored_part.stl" in found[0].message

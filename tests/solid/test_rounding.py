"""Solids that 32-bit numbers can hold."""

import numpy as np

from mirrorprep.geometry.self_intersection import meeting_pairs
from mirrorprep.handover.files import write_stl
from mirrorprep.intake.read import read_scan
from mirrorprep.solid.certify import certify, examine
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.primitives import box, sphere
from mirrorprep.solid.rounding import fit_for_files, welded_faults


def with_a_short_edge():
    """Return a far ball with two vertices closer than 32-bit numbers tell apart there, 1.5e-5 mm."""
    mesh = sphere(10, segments=32).translated([150.0, 150.0, 150.0]).mesh
    vertices = np.array(mesh.vertices)
    one, other, _ = mesh.faces[40]
    vertices[one] = vertices[other] + 1e-6 * (vertices[one] - vertices[other])
    return certify(mesh.with_geometry(vertices, mesh.faces))


def touching_tetrahedra(*, film):
    """Two tetrahedra that touch at one place, or (film) one body whose hollow touches its outside there."""
    outer = np.array([[0.0, 0, 0], [10, 0, 2], [10, 4, -2], [10, -4, -2]]) + [20, 30, 40]
    inner = np.array([[0.0, 0, 0], [3, 0, 0.5], [3, 1, -0.5], [3, -1, -0.5]]) + [20, 30, 40]
    if not film:
        inner = inner * [-1, 1, 1] + [40, 0, 0]
    faces = np.array([[0, 1, 2], [0, 2, 3], [0, 3, 1], [1, 3, 2]])
    # A hollow is inside out; a mirrored body is so by itself and has to be turned.
    return ScanMesh(vertices=np.vstack([outer, inner]), faces=np.vstack([faces, faces[:, ::-1] + 4]))


def test_the_fault_is_there_and_goes(tmp_path):
    solid = with_a_short_edge()
    write_stl(solid, tmp_path / "before.stl")
    assert not examine(read_scan(tmp_path / "before.stl", units="mm")).solid
    assert welded_faults(solid.mesh) != (0, 0)
    fit = fit_for_files(solid).solid
    write_stl(fit, tmp_path / "after.stl")
    read = certify(read_scan(tmp_path / "after.stl", units="mm"))
    assert abs(read.volume_mm3 / solid.volume_mm3 - 1) < 1e-6
    assert abs(fit.volume_mm3 / solid.volume_mm3 - 1) < 1e-13


def test_a_shape_that_is_fit_stays_as_it_is():
    cube = box([1, 2, 3])
    fit = fit_for_files(cube)
    assert fit.solid is cube
    assert (fit.moved, fit.crossing) == (0, 0)


def test_bodies_that_touch_come_apart_and_a_film_grows():
    for film in (False, True):
        mesh = touching_tetrahedra(film=film)
        assert len(meeting_pairs(mesh.vertices, mesh.faces).all) > 0
        fit = fit_for_files(certify(mesh))
        assert fit.moved == 2
        assert fit.crossing == 0
        moved = fit.solid.mesh
        assert len(meeting_pairs(moved.vertices.astype(np.float32).astype(float), moved.faces).all) == 0
        assert abs(fit.solid.volume_mm3 / certify(mesh).volume_mm3 - 1) < 1e-12


def test_crossings_that_cannot_be_parted_are_counted():
    mesh = touching_tetrahedra(film=False)
    vertices = np.array(mesh.vertices)
    vertices[4:] += [2.0, 0.0, 0.0]
    fit = fit_for_files(certify(ScanMesh(vertices=vertices, faces=mesh.faces)))
    assert fit.crossing > 0
    assert fit.moved == 0

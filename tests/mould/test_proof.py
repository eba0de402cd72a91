import manifold3d
import numpy as np
import pytest

from mirrorprep.geometry.self_intersection import meeting_pairs
from mirrorprep.mould.proof import prove
from mirrorprep.solid.certify import certify
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.primitives import box, sphere
from mirrorprep.solid.rounding import welded_faults
from mirrorprep.solid.solid import Solid, union


@pytest.fixture(scope="module")
def ball():
    return sphere(10.0, segments=64)


def halves_of(outer, casting, level=0.0):
    return (outer - casting).split_by_plane([0, 0, 1], level)


def codes(proof):
    return {finding.code for finding in proof.findings}


def test_a_right_mould_holds(ball):
    outer = box([30, 30, 30])
    proof = prove(halves_of(outer, ball), ball, [0, 0, 2], outer_mm3=27000.0)
    assert proof.holds
    assert proof.sound
    assert proof.identity_error < 1e-12
    assert proof.release_interference_mm3 < 1e-9


def test_sphere_cut_off_centre_is_in_the_way(ball):
    # Trapped volume of a sphere cut at height h: π h³/3 (mould-geometry reference, closed form); it is the
    # union over all steps, so that the largest single step stays below it.
    outer = box([30, 30, 30])
    proof = prove(halves_of(outer, ball, 4.0), ball, [0, 0, 1])
    assert codes(proof) == {"opening-interference"}
    assert not proof.releases
    assert proof.sound
    soft = prove(halves_of(outer, ball, 4.0), ball, [0, 0, 1], flexible=True)
    assert codes(soft) == {"opening-interference"}
    assert soft.holds
    assert not soft.releases
    assert 0.2 * np.pi * 64 / 3 < proof.release_interference_mm3 < np.pi * 64 / 3


def test_interference_is_measured_by_translation():
    # A slab under the parting plane: 2 mm on, the lower half's roof stands 2 mm deep in all of it.
    casting = union([box([10, 10, 10]), box([10, 30, 4], center_mm=[0, 0, 7])])
    outer = box([60, 60, 60])
    upper, lower = (outer - casting).split_by_plane([0, 0, 1], 20.0)
    proof = prove((upper, lower), casting, [0, 0, 1])
    step = next(step for step in proof.opening if step.distance_mm == 2.0)
    assert step.half_b_mm3 == pytest.approx(10 * 30 * 2.0, rel=1e-9)


def test_overlapping_halves_are_found(ball):
    outer = box([30, 30, 30])
    upper, _ = halves_of(outer, ball, -0.01)
    _, lower = halves_of(outer, ball, 0.01)
    proof = prove((upper, lower), ball, [0, 0, 1])
    assert "halves-overlap" in codes(proof)
    ring = (900 - np.pi * 100) * 0.02
    assert proof.halves_overlap_mm3 == pytest.approx(ring, rel=0.01)


def test_half_that_cuts_into_the_casting_is_found(ball):
    outer = box([30, 30, 30])
    upper, lower = halves_of(outer, sphere(9.9, segments=64))
    proof = prove((upper, lower), ball, [0, 0, 1])
    assert "half-in-casting" in codes(proof)
    assert not proof.sound


def test_missing_material_breaks_the_identity(ball):
    outer = box([30, 30, 30])
    upper, lower = halves_of(outer, ball)
    chipped = upper - box([1, 1, 1], center_mm=[14.5, 14.5, 14.5])
    proof = prove((chipped, lower), ball, [0, 0, 1], outer_mm3=27000.0)
    assert codes(proof) == {"volume-identity"}
    assert proof.identity_error == pytest.approx(1.0 / 27000.0, rel=1e-9)
    assert prove((chipped, lower), ball, [0, 0, 1], outer_mm3=27000.0, hollows_mm3=1.0).holds


def test_loose_piece_is_found(ball):
    outer = box([30, 30, 30])
    upper, lower = halves_of(outer, ball)
    proof = prove((upper + box([1, 1, 1], center_mm=[0, 0, 40]), lower), ball, [0, 0, 1])
    assert "half-in-pieces" in codes(proof)


def test_key_without_taper_that_leans_is_found_between_the_halves(ball):
    outer = box([40, 40, 30])
    upper, lower = halves_of(outer, ball)
    hook = union([box([3, 3, 6], center_mm=[17, 17, 0]), box([3, 6, 2], center_mm=[17, 15.5, 4])])
    proof = prove((upper - hook, lower + hook), ball, [0, 0, 1])
    assert codes(proof) == {"halves-collide"}
    assert max(step.between_mm3 for step in proof.opening) > 1.0
    assert max(step.half_a_mm3 for step in proof.opening) < 1e-6


def test_half_that_pinches_once_written_is_found(ball):
    # A vertex drawn onto another but for 1e-7 mm: closed in double precision, open in an STL file.
    outer = box([30, 30, 30], center_mm=[0, 0, 0])
    upper, lower = halves_of(outer, ball)
    vertices = np.array(upper.mesh.vertices)
    one, other, _ = next(face for face in upper.mesh.faces if (np.abs(vertices[face]).max(axis=1) < 11).all())
    vertices[one] = vertices[other] + 1e-7 * (vertices[one] - vertices[other])
    proof = prove((certify(upper.mesh.with_geometry(vertices, upper.mesh.faces)), lower), ball, [0, 0, 1])
    assert "half-pinches" in codes(proof)
    assert proof.halves[0].welded_bad_edges + proof.halves[0].welded_degenerate_faces > 0


def test_half_turned_inside_out_is_found(ball):
    outer = box([30, 30, 30])
    upper, lower = halves_of(outer, ball)
    mesh = upper.mesh
    turned = manifold3d.Mesh64(
        vert_properties=np.array(mesh.vertices), tri_verts=np.array(mesh.faces[:, ::-1], dtype=np.uint64)
    )
    inside_out = Solid(manifold3d.Manifold(turned))
    assert inside_out.volume_mm3 < 0.0
    proof = prove((inside_out, lower), ball, [0, 0, 1])
    assert "half-not-solid" in codes(proof)
    assert not proof.holds


def test_half_whose_triangles_cross_is_found(ball):
    outer = box([30, 30, 30])
    upper, lower = halves_of(outer, ball)
    spike = np.array(upper.mesh.vertices)
    corner = int(np.argmax(spike @ [1.0, 1.0, 1.0]))
    spike[corner] -= [40.0, 0.0, 0.0]
    folded = certify(upper.mesh.with_geometry(spike, upper.mesh.faces))
    proof = prove((folded, lower), ball, [0, 0, 1])
    assert "half-crosses-itself" in codes(proof)
    assert proof.halves[0].crossing_pairs == len(meeting_pairs(spike, upper.mesh.faces).all)
    assert proof.halves[1].crossing_pairs == 0


def test_pinching_after_rounding_is_found():
    cube = box([1, 1, 1], center_mm=[1000.0, 0, 0]).mesh
    twin = cube.vertices + np.array([0.0, 0.0, 1.00000001])  # touches its neighbour once rounded
    both = ScanMesh(
        vertices=np.vstack([cube.vertices, twin]), faces=np.vstack([cube.faces, cube.faces + len(twin)])
    )
    bad, flat = welded_faults(both)
    assert bad > 0
    assert flat == 0


def test_triangle_without_area_is_found():
    corners = np.array([[0.0, 0, 0], [1, 0, 0], [2, 0, 0]])
    assert welded_faults(ScanMesh(vertices=corners, faces=np.array([[0, 1, 2]])))[1] == 1


def test_report_is_plain_data(ball):
    import json

    outer = box([30, 30, 30])
    data = prove(halves_of(outer, ball), ball, [0, 0, 1], outer_mm3=27000.0).as_dict()
    assert json.loads(json.dumps(data))["holds"] is True

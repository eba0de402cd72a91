"""How every file of the folder of public meshes ends: as a solid without self-intersections, or refused.

Volumes of closed files are those of several libraries on the file as it stands (the facts beside the
folder); of mended ones our own result, held loosely. A refused file ends with a finding, or at the reader.
"""

import pytest

from mirrorprep import check, mend, read_scan
from mirrorprep.errors import InputFileError
from mirrorprep.solid.finding import Severity

# name: volume in mm³ (of the file's own numbers), relative tolerance, bodies
SOLIDS = {
    "malformed/as_24shells_nm_edges.stl": (969.79, 1e-4, 7),  # 24 shells whose overlaps count once
    "malformed/as_box_UTF16BE.obj": (1.0, 1e-9, 1),
    "malformed/as_cube_binary_header_with_RN_newline.ply": (1.0, 1e-9, 1),
    "malformed/as_malformed2.obj": (1.0, 1e-9, 1),  # a box without one side
    "malformed/as_sphereWithHole.stl": (13.61, 0.01, 1),
    "malformed/busted.STL": (526.449, 1e-5, 1),
    "malformed/joined_tetrahedra.obj": (0.8660254, 1e-6, 1),  # the wall between them goes
    "malformed/multibody.stl": (0.0074232, 1e-4, 2),
    "malformed/negative_indices.obj": (8.0, 1e-9, 1),
    "malformed/tm_cube_and_sphere_same_name.3mf": (97431.9, 1e-5, 2),
    "malformed/tm_quadknot.obj": (1.0573e6, 1e-4, 1),  # 1438 shells until welded
    "malformed/two_objects_mixed_case_names.stl": (2.0, 1e-9, 2),
    "malformed/wallhole.obj": (1066.6667, 1e-4, 1),
    "organic/spot-cow.obj": (0.718259, 1e-5, 1),
    "organic/stanford-bunny.ply": (7.52e-4, 2e-3, 1),  # five holes and double faces
    "scans/ah_ear_left.stl": (36303.0, 1e-4, 1),  # inside out: turned
    "scans/crop_headsq_ear_a.ply": (11968.0, 0.05, None),  # a cut-out of skin, capped behind
    "scans/crop_headsq_ear_b.ply": (11910.0, 0.05, None),
    "scans/mc_headsq_skin.ply": (2.2187e6, 2e-3, 3),
    "scans/mf_self_intersectA.obj": (0.14266, 1e-3, 1),  # 0.14795 counts the overlap twice
    "scans/os_demosthenes-low-res.obj": (2.0037, 0.02, 1),
    "scans/os_goathead.obj": (421.74, 1e-4, 1),
    "scans/os_hand_closed.obj": (0.029382, 1e-4, 1),
    "scans/os_hand_lowres.obj": (0.030354, 5e-3, 1),
    "scans/os_koala_low_resolution.obj": (56.111, 1e-4, 1),
    "scans/os_nefertiti-lowres.obj": (1.1553e7, 1e-4, 1),
    "scans/os_skull_low_resolution.obj": (562.52, 1e-4, 1),  # 9768 shells until welded
    "scans/tm_rabbit.obj": (6.5404, 1e-3, 2),  # 6.6485 counts the overlaps twice
}
STAY_OPEN = (
    "malformed/as_regr_3429812.obj",  # two triangles of needle form, each twice
    "malformed/as_triangle_with_two_solids.stl",  # two triangles
    "malformed/notenoughindices.obj",  # one triangle
    "malformed/soup.stl",  # a hundred loose triangles
)
REFUSED_BY_THE_READER = (
    "malformed/as_empty.ply", "malformed/obj_empty.obj", "malformed/obj_points.obj",
    "malformed/obj_wireframe.obj", "malformed/ply_empty_ascii.ply", "malformed/ply_empty_bin.ply",
    "malformed/ply_empty_header.ply", "malformed/ply_points_ascii.ply", "malformed/ply_points_bin.ply",
    "malformed/points_emptyface.ply", "malformed/stl_empty_ascii.stl", "malformed/stl_empty_bin.stl",
    "malformed/tm_empty.stl", "malformed/tm_ply_empty_header.ply",
)  # fmt: skip


def test_the_table_names_every_file(shared_data):
    there = {f"{path.parent.name}/{path.name}" for path in shared_data.glob("*/*")}
    assert there == {*SOLIDS, *STAY_OPEN, *REFUSED_BY_THE_READER}


@pytest.mark.parametrize("name", SOLIDS)
def test_ends_as_a_clean_solid(shared_data, name):
    volume, tolerance, bodies = SOLIDS[name]
    result = mend(read_scan(shared_data / name, units="mm"))
    assert result.findings == ()
    assert result.solid.volume_mm3 == pytest.approx(volume, rel=tolerance)
    report = check(result.mesh)
    assert report.solid
    assert (report.self_intersections, report.neighbour_intersections) == (0, 0)
    assert report.overlapping_bodies == 0
    assert bodies in (None, report.bodies)


@pytest.mark.parametrize("name", STAY_OPEN)
def test_is_refused_with_what_was_found(shared_data, name):
    result = mend(read_scan(shared_data / name, units="mm"))
    assert result.solid is None
    (finding,) = result.findings
    assert (finding.code, finding.severity) == ("not-mended", Severity.STOP)
    assert "open edges" in finding.message
    assert finding.remedy


@pytest.mark.parametrize("name", REFUSED_BY_THE_READER)
def test_is_refused_by_the_reader(shared_data, name):
    with pytest.raises(InputFileError):
        read_scan(shared_data / name, units="mm")


def test_the_ear_is_found_inside_out_and_crossing_and_both_are_told(shared_data):
    scan = read_scan(shared_data / "scans/ah_ear_left.stl", units="mm")
    assert {f.code for f in check(scan).findings} >= {"inside-out", "self-intersections"}
    steps = {step.name: step for step in mend(scan).steps}
    assert steps["orient"].counts["bodies"] == 1
    assert steps["remove-self-intersections"].counts["pairs"] == 128

"""Each fault is fed to the check; measured facts of public meshes stand beside it."""

import json

import numpy as np
import pytest

from mirrorprep import ScanMesh, check
from mirrorprep.errors import CancelledError, UsageError
from mirrorprep.progress import Progress
from mirrorprep.solid.certify import examine
from mirrorprep.solid.finding import Finding, Severity
from mirrorprep.solid.mesh import Origin
from mirrorprep.solid.primitives import box, sphere

CONTRACT = {
    "triangles", "vertices", "solid", "open_edges", "non_manifold_edges", "self_intersections", "bodies",
    "size_mm", "units", "findings",
}  # fmt: skip


def joined(*meshes):
    starts = np.cumsum([0] + [len(m.vertices) for m in meshes])
    faces = np.concatenate([m.faces + s for m, s in zip(meshes, starts, strict=False)])
    return ScanMesh(vertices=np.concatenate([m.vertices for m in meshes]), faces=faces)


def codes(mesh, **options):
    return {finding.code for finding in check(mesh, **options).findings}


def ball(**options):
    return sphere(30.0, **{"segments": 64, **options}).mesh


def test_a_sound_ball_has_no_finding_and_the_contract_names():
    report = check(ball())
    assert report.findings == ()
    assert (report.solid, report.bodies, report.genus, report.inside_out) == (True, 1, 0, False)
    assert report.size_mm == pytest.approx((60.0, 60.0, 60.0))
    plain = json.loads(json.dumps(report.as_dict()))
    assert set(plain) >= CONTRACT
    assert plain["solid"] is True
    assert len(plain["size_mm"]) == 3


def test_a_solid_is_accepted_as_well_as_its_mesh():
    part = box([20, 30, 40])
    assert check(part).as_dict() == check(part.mesh).as_dict()


def test_missing_triangles_are_open_edges_with_their_holes():
    mesh = ball()
    report = check(mesh.with_geometry(mesh.vertices, mesh.faces[12:]))
    assert not report.solid
    assert report.open_edges == sum(hole.edges for hole in report.holes)
    assert report.holes[0].perimeter_mm == max(hole.perimeter_mm for hole in report.holes)
    (finding,) = (f for f in report.findings if f.code == "open-edges")
    assert finding.measured == report.open_edges
    assert len(finding.where) == len(report.holes)
    assert finding.remedy


def test_every_count_of_edges_agrees_with_the_certificate():
    mesh = ball()
    spoilt = np.array(mesh.faces)
    spoilt[:5] = spoilt[:5, ::-1]
    faces = np.concatenate([spoilt[:-3], spoilt[20:22], [[0, 1, 1]]])
    report, certificate = (
        check(mesh.with_geometry(mesh.vertices, faces)),
        examine(mesh.with_geometry(mesh.vertices, faces)),
    )
    for name in ("open_edges", "non_manifold_edges", "inconsistent_edges", "solid"):
        assert getattr(report, name) == getattr(certificate, name)
    assert report.duplicate_faces == 2
    assert report.flipped_faces == 5
    assert report.degenerate_faces == 1
    found = {f.code for f in report.findings}
    assert found >= {"open-edges", "inconsistent-edges", "duplicate-faces", "degenerate-faces"}


def test_a_fin_is_a_non_manifold_edge():
    mesh = ball()
    a, b, _ = mesh.faces[0]
    fin = np.vstack([mesh.vertices, [0.0, 0.0, 50.0]])
    report = check(ScanMesh(vertices=fin, faces=np.vstack([mesh.faces, [[a, b, len(mesh.vertices)]]])))
    assert report.non_manifold_edges == 1
    assert "non-manifold-edges" in {f.code for f in report.findings}


def test_inside_out_is_told_and_a_void_is_not():
    mesh = ball()
    report = check(mesh.with_geometry(mesh.vertices, mesh.faces[:, ::-1]))
    assert report.inside_out
    assert not report.solid
    hollow = (sphere(30.0) - sphere(20.0)).mesh
    assert not check(hollow).inside_out
    assert check(hollow).overlapping_bodies == 0
    assert check(hollow).bodies == 2


def test_an_open_scan_inside_out_is_told_and_a_cavity_behind_an_opening_is_not():
    mesh = ball()
    opened = mesh.faces[12:]
    assert "inside-out" in codes(mesh.with_geometry(mesh.vertices, opened[:, ::-1]))
    assert "inside-out" not in codes(mesh.with_geometry(mesh.vertices, opened))
    hollow = (sphere(30.0, segments=64) - sphere(20.0, segments=64)).mesh
    outer = np.flatnonzero(np.linalg.norm(hollow.triangles.mean(axis=1), axis=1) > 25)
    opened = np.delete(hollow.faces, outer[:12], axis=0)
    assert "inside-out" not in codes(hollow.with_geometry(hollow.vertices, opened))


def test_flipped_regions_are_counted_and_placed():
    mesh = ball()
    spoilt = np.array(mesh.faces)
    region = mesh.triangles.mean(axis=1)[:, 2] > 25.0
    spoilt[region] = spoilt[region][:, ::-1]
    report = check(mesh.with_geometry(mesh.vertices, spoilt))
    assert report.flipped_faces == region.sum() > 10
    (finding,) = (f for f in report.findings if f.code == "inconsistent-edges")
    assert f"{region.sum()} triangles flipped" in finding.message
    assert all(z > 20.0 for _, _, z in finding.where)


def test_the_point_spacing_is_held_against_the_smallest_feature():
    # Common practice, no source: at least three points across the smallest feature kept.
    spacing = check(ball()).spacing_mm
    coarse = check(ball(), feature_mm=2.0 * spacing)
    (finding,) = coarse.findings
    assert finding.code == "spacing-above-feature"
    assert (finding.measured, finding.limit) == (pytest.approx(2.0), 3.0)
    assert check(ball(), feature_mm=3.1 * spacing).findings == ()


@pytest.mark.parametrize("option", ["feature_mm", "accuracy_mm"])
@pytest.mark.parametrize("value", [0.0, -1.0, np.nan])
def test_impossible_limits_are_refused(option, value):
    with pytest.raises(UsageError, match="mm"):
        check(ball(), **{option: value})


@pytest.mark.parametrize(
    ("size", "scanner"), [(5.0, None), (60.0, "small-part"), (400.0, "hand-held"), (2e4, None)]
)
def test_the_size_names_the_scanners_it_suits(size, scanner):
    # Common practice, no source: small-part scanners 1 to 15 cm, hand-held structured light 15 cm to 15 m.
    suits = check(box([size, size / 2, size / 3]).mesh).suits
    assert suits is None if scanner is None else suits.startswith(scanner)


def test_bodies_whose_volume_counts_twice_are_told():
    crossing = joined(ball(), ball(center_mm=[31.0, 4.0, 2.0]))
    nested = joined(ball(), sphere(10.0, segments=24).mesh)
    beside = joined(ball(), ball(center_mm=[100.0, 0.0, 0.0]))
    assert [check(mesh).overlapping_bodies for mesh in (crossing, nested, beside)] == [1, 1, 0]
    assert "overlapping-bodies" in codes(nested)
    assert "self-intersections" in codes(crossing)
    assert "self-intersections" not in codes(nested)


def test_unwelded_triangles_are_named_as_seams():
    mesh = ball()
    soup = ScanMesh(
        vertices=mesh.triangles.reshape(-1, 3), faces=np.arange(3 * len(mesh.faces)).reshape(-1, 3)
    )
    report = check(soup)
    assert report.open_edges == 3 * len(mesh.faces)
    assert report.self_intersections == 0
    assert "unwelded-seams" in {f.code for f in report.findings}


def test_noise_is_estimated_and_held_against_the_accuracy():
    mesh = sphere(30.0, segments=160).mesh
    shift = np.random.default_rng(0).normal(0.0, 0.05, len(mesh.vertices))
    noisy = mesh.with_geometry(mesh.vertices * (1.0 + shift / 30.0)[:, None])
    assert check(noisy).noise_mm == pytest.approx(0.05, rel=0.15)
    assert "noise-above-accuracy" in codes(noisy, accuracy_mm=0.03)
    assert "noise-above-accuracy" not in codes(noisy, accuracy_mm=0.1)
    assert "noise-above-accuracy" not in codes(noisy)


def test_three_point_spacings_are_the_smallest_feature():
    # Common practice, no source: at least three points across the smallest feature kept.
    report = check(ball())
    assert report.smallest_feature_mm == pytest.approx(3 * report.spacing_mm)
    assert report.spacing_mm == pytest.approx(30 * np.pi / 2 / 16, rel=0.3)


@pytest.mark.parametrize(("size", "told"), [(5.0, True), (11.0, False), (14_000.0, False), (16_000.0, True)])
def test_sizes_no_scanner_suits_are_told(size, told):
    # Common practice, no source: 1 cm to 15 m.
    assert ("size-implausible" in codes(box([size, size, size]).mesh)) is told


def test_needles_are_told_with_their_places():
    mesh = ball()
    points = np.array(mesh.vertices)
    points[100] *= 1.5
    (finding,) = (f for f in check(mesh.with_geometry(points)).findings if f.code == "spikes")
    np.testing.assert_allclose(finding.where, [points[100]])


def test_the_readers_findings_come_first():
    told = Finding(code="unit-guessed", severity=Severity.CAUTION, message="The unit was guessed.")
    mesh = box([1, 1, 1]).mesh
    scan = ScanMesh(vertices=mesh.vertices, faces=mesh.faces, origin=Origin(units="in", findings=(told,)))
    report = check(scan)
    assert report.findings[0] is told
    assert report.units == "in"


def test_an_empty_mesh_is_reported_and_stopped():
    report = check(ScanMesh(vertices=np.zeros((0, 3)), faces=np.zeros((0, 3), dtype=np.int64)))
    assert (report.triangles, report.solid, report.spacing_mm, report.noise_mm) == (0, False, None, None)
    assert [f.code for f in report.findings] == ["no-triangles"]
    assert report.findings[0].severity is Severity.STOP


def test_progress_rises_to_one_and_cancelling_ends_the_check():
    seen = []
    check(ball(), progress=Progress(lambda _, fraction: seen.append(fraction)))
    assert seen == sorted(seen)
    assert seen[-1] == 1.0
    with pytest.raises(CancelledError):
        check(ball(), progress=Progress(cancelled=lambda: len(seen) > 0))


def test_brain_surfaces_have_their_known_crossings():
    # One pair without a common corner on the right (an independent library), none on the left.
    gifti = pytest.importorskip("nibabel")
    datasets = pytest.importorskip("nilearn.datasets")
    surfaces = datasets.fetch_surf_fsaverage("fsaverage5")
    for side, pairs, volume in (("pial_right", 1, 499286.900689), ("pial_left", 0, 500035.590743)):
        points, faces = (array.data for array in gifti.load(surfaces[side]).darrays)
        mesh = ScanMesh(vertices=points.astype(float), faces=faces.astype(np.int64))
        report = check(mesh)
        assert (report.self_intersections, report.solid, report.genus, report.bodies) == (pairs, True, 0, 1)
        assert examine(mesh).signed_volume_mm3 == pytest.approx(volume, rel=1e-9)


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        # Five libraries agree on the nut's genus; the ant is 15 overlapping closed shells.
        ("nut.ply", {"solid": True, "genus": 1, "bodies": 1, "triangles": 1046}),
        ("ant.ply", {"solid": True, "genus": 0, "bodies": 15, "triangles": 912}),
        ("airplane.ply", {"solid": False, "genus": None, "bodies": 7, "triangles": 2452}),
        ("sphere.ply", {"solid": True, "genus": 0, "bodies": 1, "self_intersections": 0}),
    ],
)
def test_meshes_of_a_package_have_their_known_topology(name, expected):
    examples = pytest.importorskip("pyvista.examples")
    trimesh = pytest.importorskip("trimesh")
    raw = trimesh.load(f"{examples.dir_path}/{name}", process=False)
    report = check(ScanMesh(vertices=np.array(raw.vertices, dtype=float), faces=np.array(raw.faces)))
    assert {key: getattr(report, key) for key in expected} == expected
    assert (report.overlapping_bodies > 0) == (name in ("ant.ply", "airplane.ply"))


def test_a_full_size_ear_is_inside_out_has_a_canal_and_crosses_itself(shared_data):
    trimesh = pytest.importorskip("trimesh")
    raw = trimesh.load(shared_data / "scans/ah_ear_left.stl", process=False)
    places, label = np.unique(np.array(raw.vertices, dtype=float), axis=0, return_inverse=True)
    report = check(ScanMesh(vertices=places, faces=label.reshape(-1)[np.array(raw.faces)]))
    assert (report.inside_out, report.genus, report.bodies, report.open_edges) == (True, 1, 1, 0)
    assert report.self_intersections + report.neighbour_intersections == 128
    assert report.size_mm == pytest.approx((36.48, 47.03, 73.46), abs=0.01)
    assert {f.code for f in report.findings} >= {"inside-out", "self-intersections"}

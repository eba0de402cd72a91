"""Whole moulds around organic bodies, held to general-purpose libraries."""

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy.spatial import cKDTree

from mirrorprep.condition.mend import mend
from mirrorprep.geometry.contour import contour
from mirrorprep.handover.files import NamedPart, write_3mf, write_stl
from mirrorprep.intake.read import read_scan
from mirrorprep.mould.build import build_mould
from mirrorprep.mould.proof import prove
from mirrorprep.mould.settings import MouldSettings
from mirrorprep.mould.undercut_map import verdict
from mirrorprep.solid.certify import certify
from mirrorprep.solid.finding import Severity
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.primitives import sphere
from mirrorprep.solid.solid import union


def organic(seed, balls=4, step=2.0):
    """A smooth union of random balls, at least two of which overlap with each next one."""
    rng = np.random.default_rng(seed)
    centers, radii = [np.zeros(3)], [rng.uniform(8.0, 13.0)]
    for _ in range(balls - 1):
        way = rng.normal(size=3)
        centers.append(centers[-1] + way / np.linalg.norm(way) * rng.uniform(6.0, 13.0))
        radii.append(rng.uniform(6.0, 11.0))
    low = np.min([c - r for c, r in zip(centers, radii, strict=True)], axis=0) - 4.0
    high = np.max([c + r for c, r in zip(centers, radii, strict=True)], axis=0) + 4.0
    axes = [np.arange(a, b, step) for a, b in zip(low, high, strict=True)]
    points = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1)
    distance = [np.linalg.norm(points - c, axis=-1) - r for c, r in zip(centers, radii, strict=True)]
    value = -3.0 * np.log(np.exp(-np.array(distance) / 3.0).sum(axis=0))
    vertices, faces = contour(value, low, step)
    return certify(ScanMesh(vertices=vertices, faces=faces))


def vtk_surface(pyvista, solid, dtype):
    corners = solid.mesh.triangles.astype(dtype).reshape(-1, 3)
    faces = np.column_stack([np.full(len(corners) // 3, 3), np.arange(len(corners)).reshape(-1, 3)])
    return pyvista.PolyData(corners.astype(np.float32), faces.ravel()).clean(tolerance=0.0, absolute=True)


def crossings(vertices, faces):
    """Pairs of triangles that meet beside their common corners, by libigl's exact predicates.

    For what files hold, coordinates of 32 bits. (In plain double precision libigl 2.6.3 also lists pairs with
    a common corner that lie in one plane but for their last digits and stand apart by rational arithmetic.)
    """
    predicates = pytest.importorskip("igl.predicates")
    return len(predicates.find_self_intersections(np.array(vertices, dtype=np.float64), np.array(faces))[1])


def crossings_when_written(solid):
    return crossings(solid.mesh.vertices.astype(np.float32), solid.mesh.faces)


def objects_as_lib3mf_reads_them(path):
    """The meshes of a 3MF file, before their build items place them, as its consortium's library has them."""
    model = pytest.importorskip("lib3mf").get_wrapper().CreateModel()
    model.QueryReader("3mf").ReadFromFile(str(path))
    found = model.GetMeshObjects()
    while found.MoveNext():
        body = found.GetCurrentMeshObject()
        corners = np.array([tuple(vertex.Coordinates) for vertex in body.GetVertices()])
        yield corners, np.array([tuple(face.Indices) for face in body.GetTriangleIndices()], dtype=np.int64)


def cavity_vertices_missing_mm(mould):
    """Largest distance from a vertex of the part to one of the halves, channels' mouths left aside."""
    stood = cKDTree(np.vstack([half.solid.mesh.vertices for half in mould.halves]))
    points = mould.cavity.mesh.vertices
    far = stood.query(points)[0] > 1e-6
    from mirrorprep.solid.section import hull_solid

    if not far.any():
        return 0.0
    tips = points[far][:, None] + 1e-3 * np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1.0]])
    runners = union([mould.frame.to_part(channel.solid) for channel in mould.runners])
    return float(sum((hull_solid(tip) & runners).is_empty for tip in tips))


def assert_proved(mould):
    proof = mould.proof
    assert proof.sound, proof.findings
    assert mould.identity_error <= 1e-12
    assert proof.halves_overlap_mm3 <= 1e-6 * mould.outer_volume_mm3
    assert cavity_vertices_missing_mm(mould) == 0.0
    total = sum(half.volume_mm3 for half in mould.halves) + mould.cavity_volume_mm3
    total += mould.channels_volume_mm3 + mould.hollows_volume_mm3
    assert total == pytest.approx(mould.outer_volume_mm3, rel=1e-12)
    for half in mould.halves:
        assert crossings_when_written(half.solid) == 0
    for half in proof.halves:
        assert half.solid
        assert (half.welded_bad_edges, half.welded_degenerate_faces, half.pieces) == (0, 0, 1)
        assert half.crossing_pairs == 0
    codes = {"loose-island", "island-joined", "crumbs-left-out"}
    told = [finding.measured for finding in mould.findings if finding.code in codes]
    cut_off = sum(max(island.volume_mm3, 0.0) for island in mould.islands)
    assert sum(told) == pytest.approx(cut_off, abs=1e-12)
    assert not [p for p in mould.air_pockets if p.volume_mm3 > 5.0 and not p.vented]
    if mould.verdict.releases and mould.settings.casting == "rigid":
        assert mould.release_interference_mm3 <= 1e-4 * mould.cavity_volume_mm3


@settings(max_examples=6, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(
    seed=st.integers(0, 10_000),
    body=st.sampled_from(["shell", "block", "cylinder"]),
    parting=st.sampled_from(["auto", "plane", "contour"]),
    tilt=st.tuples(st.floats(-1, 1), st.floats(-1, 1)),
)
def test_any_organic_body_gets_a_proved_mould(seed, body, parting, tilt):
    pull = (*tilt, 1.0)
    chosen = MouldSettings(body=body, parting=parting, pull_direction=pull, casting="flexible", bolts="M3")
    assert_proved(build_mould(organic(seed), settings=chosen))


@pytest.fixture(scope="module")
def mould():
    return build_mould(organic(7), settings=MouldSettings(casting="flexible"))


def test_vtk_finds_the_halves_closed_after_rounding(mould):
    # VTK merges equal 32-bit positions, as a reader of the STL file does.
    pyvista = pytest.importorskip("pyvista")
    for half in mould.halves:
        surface = vtk_surface(pyvista, half.solid, np.float32)
        assert surface.n_open_edges == 0
        assert surface.is_manifold
        assert surface.volume == pytest.approx(half.volume_mm3, rel=1e-5)


def test_vtk_and_trimesh_agree_on_the_volumes(mould):
    pytest.importorskip("pyvista")
    trimesh = pytest.importorskip("trimesh")
    import pyvista
    from vtkmodules.util.numpy_support import numpy_to_vtk
    from vtkmodules.vtkCommonCore import vtkPoints
    from vtkmodules.vtkCommonDataModel import vtkPolyData
    from vtkmodules.vtkFiltersCore import vtkMassProperties

    for half in mould.halves:
        mesh = half.solid.mesh
        surface = pyvista.PolyData(np.array(mesh.vertices), np.insert(mesh.faces, 0, 3, axis=1).ravel())
        points = vtkPoints()
        points.SetData(numpy_to_vtk(np.array(mesh.vertices), deep=True))
        exact = vtkPolyData()
        exact.ShallowCopy(surface)
        exact.SetPoints(points)
        mass = vtkMassProperties()
        mass.SetInputData(exact)
        mass.Update()
        assert mass.GetVolume() == pytest.approx(half.volume_mm3, rel=1e-11)
        other = trimesh.Trimesh(np.array(mesh.vertices), np.array(mesh.faces), process=False)
        assert other.is_watertight
        assert other.is_winding_consistent
        assert other.volume == pytest.approx(half.volume_mm3, rel=1e-11)


def test_written_files_hold_the_same_mould(mould, tmp_path):
    read = []
    for half in mould.halves:
        path = write_stl(half.solid, tmp_path / f"{half.name}.stl")
        read.append(certify(read_scan(path, units="mm")))
        assert read[-1].volume_mm3 == pytest.approx(half.volume_mm3, rel=1e-6)
        assert crossings(read[-1].mesh.vertices, read[-1].mesh.faces) == 0
    proof = prove(read, mould.casting, mould.pull_direction, flexible=True)
    assert proof.holds, proof.findings
    assert proof.release_interference_mm3 == pytest.approx(mould.release_interference_mm3, abs=0.05)
    parts = [NamedPart(name=h.name, mesh=h.solid, transform=h.print_pose) for h in mould.halves]
    package = certify(read_scan(write_3mf(parts, tmp_path / "mould.3mf")))
    assert package.volume_mm3 == pytest.approx(sum(h.volume_mm3 for h in mould.halves), rel=1e-6)
    for vertices, faces in objects_as_lib3mf_reads_them(tmp_path / "mould.3mf"):
        assert crossings(vertices, faces) == 0


def test_crossing_triangles_would_be_found(mould):
    mesh = mould.halves[0].solid.mesh
    folded = np.array(mesh.vertices)
    spread = np.linalg.norm(folded - folded.mean(axis=0), axis=1)
    folded[int(np.argmin(spread))] += 30.0
    half = certify(ScanMesh(vertices=folded, faces=mesh.faces))
    assert crossings_when_written(half) > 0
    proof = prove([half, mould.halves[1].solid], mould.casting, mould.pull_direction, flexible=True)
    assert proof.halves[0].crossing_pairs == crossings_when_written(half)
    assert "half-crosses-itself" in [finding.code for finding in proof.findings]


def test_same_input_gives_the_same_bytes(mould):
    again = build_mould(organic(7), settings=MouldSettings(casting="flexible"))
    for first, second in zip(mould.halves, again.halves, strict=True):
        assert first.solid.mesh.vertices.tobytes() == second.solid.mesh.vertices.tobytes()
        assert first.solid.mesh.faces.tobytes() == second.solid.mesh.faces.tobytes()


def test_rigid_casting_with_an_undercut_is_stopped_with_reasons():
    hook = organic(11, balls=6)
    found = build_mould(hook, settings=MouldSettings(body="block", parting="plane", pull_direction=(1, 0, 0)))
    stops = {f.code: f for f in found.findings if f.severity is Severity.STOP}
    assert set(stops) == {"rigid-casting-locked", "opening-interference"}
    locked = stops["rigid-casting-locked"]
    assert "mm deep" in locked.message
    assert "flexible" in locked.remedy
    assert locked.where
    assert found.max_undercut_mm > 0.5
    soft = build_mould(
        hook,
        settings=MouldSettings(body="block", parting="plane", pull_direction=(1, 0, 0), casting="flexible"),
    )
    assert not [f for f in soft.findings if f.severity is Severity.STOP]
    assert {"undercut-flexes", "opening-interference"} <= {f.code for f in soft.findings}
    brittle = verdict(soft.undercut, soft.parting, casting="flexible", safe_strain=0.5 * soft.undercut.strain)
    assert not brittle.releases
    assert brittle.finding.limit == 0.5 * soft.undercut.strain


def test_shrinkage_allowance_scales_the_cavity():
    part = organic(3)
    made = build_mould(
        part,
        settings=MouldSettings(
            body="block",
            parting="plane",
            pull_direction=(0, 0, 1),
            shrinkage=(0.0, 0.01, 0.02),
            casting="flexible",
        ),
    )
    # Volume follows the product of the scales 1/(1-s); the centroid stays.
    assert made.cavity_volume_mm3 == pytest.approx(part.volume_mm3 / 0.99 / 0.98, rel=1e-12)
    kept = made.cavity.mass_properties.centroid_mm
    assert kept == pytest.approx(part.mass_properties.centroid_mm, abs=1e-9)
    assert_proved(made)


def test_part_far_from_the_origin():
    moved = organic(5).translated([900.0, -1500.0, 400.0])
    made = build_mould(moved, settings=MouldSettings(pull_direction=(0, 0, 1), casting="flexible"))
    assert_proved(made)


def test_part_that_crosses_itself_is_refused_with_reasons():
    ball = sphere(12.0, segments=32).mesh
    twin = ball.vertices + np.array([5.0, 0.0, 0.0])
    both = ScanMesh(
        vertices=np.vstack([ball.vertices, twin]), faces=np.vstack([ball.faces, ball.faces + len(twin)])
    )
    made = build_mould(certify(both), settings=MouldSettings(body="block", pull_direction=(0, 0, 1)))
    codes = {finding.code for finding in made.findings if finding.severity is Severity.STOP}
    assert "part-crosses-itself" in codes


def test_part_with_a_body_inside_itself_is_refused_with_reasons():
    # A ball within a ball, both facing outward: closed by every count of edges, the inner one counts twice.
    outer, inner = sphere(15.0, segments=32).mesh, sphere(6.0, segments=24).mesh
    both = ScanMesh(
        vertices=np.vstack([outer.vertices, inner.vertices]),
        faces=np.vstack([outer.faces, inner.faces + len(outer.vertices)]),
    )
    made = build_mould(certify(both), settings=MouldSettings(body="block", pull_direction=(0, 0, 1)))
    (found,) = [finding for finding in made.findings if finding.code == "part-overlaps-itself"]
    assert found.severity is Severity.STOP
    assert found.measured == pytest.approx(sphere(6.0, segments=24).volume_mm3, rel=1e-9)


@pytest.mark.parametrize("name", ["spot-cow.obj", "stanford-bunny.ply"])
def test_scanned_figures(name, shared_data):
    scan = read_scan(shared_data / "organic" / name, units="mm")
    scale = 80.0 / float(scan.size_mm.max())
    part = mend(scan.with_geometry(np.array(scan.vertices) * scale, scan.faces)).solid
    made = build_mould(part, settings=MouldSettings(casting="flexible"))
    assert not [finding.code for finding in made.findings if finding.severity is Severity.STOP]
    assert_proved(made)

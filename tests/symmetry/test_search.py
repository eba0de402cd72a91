"""The whole search: accuracy, doubt, choice, landmarks, regions, outside checks."""

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import demo_shapes
from mirrorprep.errors import CancelledError, GeometryError, UsageError
from mirrorprep.progress import Progress
from mirrorprep.solid.finding import Severity
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.plane import Plane
from mirrorprep.solid.primitives import box, sphere
from mirrorprep.symmetry.landmarks import Landmarks
from mirrorprep.symmetry.region import Entry, Region
from mirrorprep.symmetry.search import find_mirror_plane


def misses(result, truth: Plane, mesh: ScanMesh) -> tuple[float, float]:
    """Angle in degrees and distance in mm at the middle of the scan."""
    middle = mesh.bounds_mm.mean(axis=0)
    middle = middle - truth.distance_mm(middle) * truth.normal
    return result.plane.angle_deg(truth), abs(float(result.plane.distance_mm(middle)))


@pytest.mark.parametrize("kinds", [[], ["raw"]])
def test_head_that_lacks_an_ear(phantom, kinds):
    # Target: 0.1° and 0.1 mm; published for skulls with 30 mm voids: 1.5° and 2 mm.
    scan = demo_shapes.damage(phantom.scan, kinds, seed=2) if kinds else phantom.scan
    result = find_mirror_plane(scan)
    angle, offset = misses(result, phantom.true_plane, phantom.scan)
    assert result.status == "clear"
    assert angle < 0.1
    assert offset < 0.1


def test_a_void_of_30_mm(phantom):
    scan = phantom.scan
    centers = scan.triangles.mean(axis=1)
    cheek = np.array(phantom.landmarks["exocanthion_right"])
    kept = np.linalg.norm(centers - cheek, axis=1) > 15.0
    result = find_mirror_plane(scan.with_geometry(scan.vertices, scan.faces[kept]))
    angle, offset = misses(result, phantom.true_plane, scan)
    assert angle < 0.1
    assert offset < 0.1


def test_natural_asymmetry_is_measured_and_covered():
    head = demo_shapes.phantom_head("small", asymmetry_mm=0.9)
    result = find_mirror_plane(head.scan)
    assert result.status == "clear"
    assert result.asymmetry_rms_mm == pytest.approx(0.9, rel=0.1)
    assert misses(result, head.true_plane, head.scan)[0] < 2.5 * result.sd_deg


def test_exact_on_a_body_that_is_exactly_symmetric(blob, posed, x_plane):
    mesh, truth = posed(blob, x_plane, 5)
    result = find_mirror_plane(mesh)
    angle, offset = misses(result, truth, mesh)
    assert angle < 5e-4
    assert offset < 5e-4
    assert result.matched_share > 0.99
    assert result.free_axis is None


def test_animal_body(shared_data, posed, x_plane):
    # A modelled animal whose two sides agree by construction (shared test meshes, CC0).
    pyvista = pytest.importorskip("pyvista")
    raw = pyvista.read(shared_data / "organic" / "spot-cow.obj").triangulate()
    mesh = ScanMesh(vertices=np.array(raw.points, float) * 100, faces=np.array(raw.regular_faces, np.int64))
    moved, truth = posed(mesh, x_plane, 3)
    result = find_mirror_plane(moved)
    assert result.status == "clear"
    assert result.plane.angle_deg(truth) < 0.002


def test_same_bytes_whatever_the_number_of_threads(blob):
    program = (
        "import sys, json, hashlib, numpy as np\n"
        "from mirrorprep.solid.primitives import frustum\n"
        "from mirrorprep.symmetry.search import find_mirror_plane\n"
        "shape = frustum([0, 0, 0], [3, 9, 40], start_radius_mm=9, stop_radius_mm=5, segments=31)\n"
        "data = json.dumps(find_mirror_plane(shape, seed=4).as_dict())\n"
        "print(hashlib.sha256(data.encode()).hexdigest())\n"
    )
    answers = set()
    for threads in ("1", "2"):
        environment = {"OMP_NUM_THREADS": threads, "OPENBLAS_NUM_THREADS": threads, "PATH": ""}
        run = subprocess.run(
            [sys.executable, "-c", program], capture_output=True, text=True, check=True, env=environment
        )
        answers.add(run.stdout.strip())
    assert len(answers) == 1


def test_the_scan_is_not_changed(blob):
    before = blob.vertices.tobytes(), blob.faces.tobytes()
    find_mirror_plane(blob)
    assert (blob.vertices.tobytes(), blob.faces.tobytes()) == before


@pytest.mark.parametrize(
    ("shape", "codes"),
    [
        (box([20, 30, 50]), {"mirror-plane-ambiguous"}),
        (box([30, 30, 30]), {"mirror-plane-ambiguous"}),
        (box([5, 40, 45]), {"mirror-plane-ambiguous"}),
        (sphere(30.0, segments=96), {"mirror-plane-family", "mirror-plane-ambiguous"}),
    ],
    ids=["box", "cube", "thin box", "sphere"],
)
def test_many_planes_are_never_a_silent_guess(shape, codes):
    result = find_mirror_plane(shape)
    assert result.status == "ambiguous"
    assert codes & {f.code for f in result.findings if f.severity is Severity.STOP}
    assert len(result.alternatives) > 1


def turned_profile(radius, height, segments=72) -> ScanMesh:
    """A surface of revolution about z."""
    angle = np.linspace(0, 2 * np.pi, segments, endpoint=False)
    ring = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    rings = [np.column_stack([ring * r, np.full(segments, h)]) for r, h in zip(radius, height, strict=True)]
    j = np.arange(segments)
    k = (j + 1) % segments
    faces = [
        np.stack([i + a, i + b, i + c], axis=1)
        for i in range(0, (len(radius) - 1) * segments, segments)
        for a, b, c in ((j, k, k + segments), (j, k + segments, j + segments))
    ]
    return ScanMesh(vertices=np.concatenate(rings), faces=np.concatenate(faces))


def vase() -> ScanMesh:
    t = np.linspace(0, 1, 40)
    return turned_profile(30 * (1 + 0.35 * np.sin(5 * t) + 0.2 * t), 90 * t)


def torus() -> ScanMesh:
    turn = np.linspace(0, 2 * np.pi, 49)
    return turned_profile(40 + 12 * np.cos(turn), 12 * np.sin(turn))


@pytest.mark.parametrize("body", [vase(), torus()], ids=["vase", "torus"])
def test_a_family_names_its_axis(body, posed, x_plane):
    mesh, truth = posed(body, Plane(normal=np.array([0.0, 0, 1]), offset_mm=0.0), 8)
    result = find_mirror_plane(mesh)
    assert result.status == "ambiguous"
    assert "mirror-plane-ambiguous" in {f.code for f in result.findings} or result.free_axis is not None
    if result.free_axis is not None:
        assert abs(np.dot(result.free_axis, truth.normal)) > 0.999


def test_no_plane_is_weak(posed):
    rng = np.random.default_rng(3)
    mesh = sphere(50.0, segments=96).mesh
    unit = mesh.vertices / 50.0
    bumps = sum(
        rng.normal(scale=0.25) * np.sin(unit @ rng.normal(size=3) * rng.uniform(1, 4) + rng.uniform(0, 6.3))
        for _ in range(6)
    )
    lump = mesh.with_geometry(mesh.vertices * np.exp(bumps)[:, None] * [0.5, 0.7, 1.0])
    result = find_mirror_plane(lump)
    assert result.status == "weak"
    assert "mirror-plane-weak" in {f.code for f in result.findings}


def test_the_second_plane_can_be_taken():
    shape = box([20, 30, 50])
    first, second = (find_mirror_plane(shape, choose=k) for k in (1, 2))
    assert second.choice == 2
    np.testing.assert_array_equal(second.plane.normal, first.alternatives[1].plane.normal)
    assert second.plane.angle_deg(first.plane) > 80.0
    assert all(f.severity is not Severity.STOP for f in second.findings)


@pytest.mark.parametrize("choose", [0, 99])
def test_a_plane_that_is_not_listed(choose):
    with pytest.raises(UsageError, match=f"Plane {choose}"):
        find_mirror_plane(box([20, 30, 50]), choose=choose)


def test_landmarks_settle_which_plane_of_a_box():
    left, right = (-7.0, 11.0, 19.0), (7.0, 11.0, 19.0)
    marks = Landmarks(midline={"m": (0.0, 0.0, 25.0)}, pairs={"p": (left, right)})
    result = find_mirror_plane(box([20, 30, 50]), landmarks=marks)
    assert result.status == "clear"
    assert abs(result.plane.normal[0]) > 0.99999


def test_landmarks_hold_the_family_of_a_vase():
    normal = np.array([np.cos(0.7), np.sin(0.7), 0.0])
    right = np.array([[40.0, 4, 20], [12, 30, 60], [35, 22, 85]])
    left = right - 2 * np.outer(right @ normal, normal)
    marks = Landmarks(
        midline={"foot": (0.0, 0, 0), "rim": (0.0, 0, 90)},
        pairs={str(k): (tuple(a), tuple(b)) for k, (a, b) in enumerate(zip(left, right, strict=True))},
    )
    result = find_mirror_plane(vase(), landmarks=marks)
    assert result.status == "clear"
    assert result.plane.angle_deg(Plane(normal=normal, offset_mm=0.0)) < 0.1
    assert "mirror-plane-family" in {f.code for f in result.findings}


def test_landmarks_that_the_surface_contradicts_stop(blob):
    # Landmarks across y on a body that is symmetric across x alone.
    pairs = {"a": ((10.0, -40.0, 5.0), (10.0, 44.0, 5.0)), "b": ((-8.0, -30.0, 9.0), (-8.0, 34.0, 9.0))}
    result = find_mirror_plane(blob, landmarks=Landmarks(pairs=pairs))
    assert result.status != "clear" or "landmarks-disagree" in {f.code for f in result.findings}


def test_a_region_takes_clutter_away(blob, x_plane):
    lump = sphere(45.0, center_mm=(70, 20, -30), segments=96).mesh
    both = ScanMesh(
        vertices=np.concatenate([blob.vertices, lump.vertices]),
        faces=np.concatenate([blob.faces, lump.faces + len(blob.vertices)]),
    )
    clutter = tuple(float(k) for k in range(len(blob.faces), len(both.faces)))
    region = Region(entries=(Entry(action="leave-out", shape="faces", numbers=clutter),))
    result = find_mirror_plane(both, region=region)
    assert misses(result, x_plane, blob)[0] < 1e-3
    assert result.settings["region"] is not None
    assert find_mirror_plane(both).contradicted_share > result.contradicted_share


def test_nothing_to_search():
    empty = ScanMesh(vertices=np.zeros((0, 3)), faces=np.zeros((0, 3), dtype=np.int64))
    with pytest.raises(GeometryError):
        find_mirror_plane(empty)


def test_progress_and_cancelling(blob):
    seen = []
    find_mirror_plane(blob, progress=Progress(lambda _, fraction: seen.append(fraction)))
    assert seen == sorted(seen)
    assert len(seen) >= 4
    with pytest.raises(CancelledError):
        find_mirror_plane(blob, progress=Progress(cancelled=lambda: True))


def test_published_head_surface():
    # The head surface in mne: three methods agree on 0.539-0.561° from x, offset 0.697-0.699 mm; RMS 0.880,
    # 95 % 1.710 mm; the landmark plane lies 0.368° away (check-values section 9).
    mne = pytest.importorskip("mne")
    folder = Path(mne.__file__).parent / "data" / "fsaverage"
    surface = mne.read_bem_surfaces(folder / "fsaverage-head.fif", verbose="error")[0]
    head = ScanMesh(vertices=surface["rr"] * 1000.0, faces=surface["tris"].astype(np.int64))
    result = find_mirror_plane(head)
    x = Plane(normal=np.array([1.0, 0, 0]), offset_mm=0.0)
    assert result.status == "clear"
    assert result.plane.angle_deg(x) == pytest.approx(0.55, abs=0.08)
    assert result.plane.offset_mm == pytest.approx(0.698, abs=0.03)
    assert result.asymmetry_rms_mm == pytest.approx(0.880, rel=0.03)
    assert result.asymmetry_p95_mm == pytest.approx(1.710, rel=0.04)
    points = mne.io.read_fiducials(folder / "fsaverage-fiducials.fif", verbose="error")[0]
    lpa, _, rpa = (tuple(float(c) for c in p["r"] * 1000.0) for p in points)
    bisector = Landmarks(pairs={"preauricular": (lpa, rpa)})
    from mirrorprep.symmetry.landmarks import landmark_plane

    assert landmark_plane(bisector).plane.angle_deg(result.plane) == pytest.approx(0.368, abs=0.08)


def test_left_and_right_brain_surfaces():
    # Open data of nilearn: the hemispheres lie either side of x = 0 to within their natural difference.
    datasets = pytest.importorskip("nilearn.datasets")
    from nilearn.surface import load_surf_mesh

    files = datasets.fetch_surf_fsaverage("fsaverage5")
    left, right = (load_surf_mesh(files[name]) for name in ("pial_left", "pial_right"))
    brain = ScanMesh(
        vertices=np.concatenate([left.coordinates, right.coordinates]).astype(float),
        faces=np.concatenate([left.faces, right.faces + len(left.coordinates)]).astype(np.int64),
    )
    result = find_mirror_plane(brain)
    assert result.status == "clear"
    assert result.plane.angle_deg(Plane(normal=np.array([1.0, 0, 0]), offset_mm=0.0)) < 1.0
    assert abs(result.plane.offset_mm) < 1.0

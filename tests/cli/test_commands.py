"""Each command from file to answer, with the fields that scripts rely on."""

import tomllib

import numpy as np
import pytest

from mirrorprep import cautions
from mirrorprep.handover.files import write_ply, write_stl
from mirrorprep.intake.read import read_scan
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.primitives import box, sphere

CONTRACT = {
    "check": {
        "triangles", "vertices", "solid", "open_edges", "non_manifold_edges", "self_intersections", "bodies",
        "size_mm", "units", "findings",
    },
    "plane": {
        "normal", "offset_mm", "status", "asymmetry_rms_mm", "sd_deg", "sd_mm", "matched_share",
        "alternatives",
    },
    "measure": {
        "solid", "volume_mm3", "volume_sd_mm3", "area_mm2", "centroid_mm", "mass_g", "min_wall_mm", "size_mm",
    },
    "pour": {
        "material", "mass_g", "parts_by_mass", "fill_time_s", "pot_life_s", "lifting_force_n", "findings",
    },
}  # fmt: skip


@pytest.fixture
def part(tmp_path):
    """A lopsided pear with one plane of symmetry, y = 0, as an STL file in millimetres."""
    body = sphere(15.0, segments=48).transformed(np.diag([1.0, 0.8, 0.7, 1.0]))
    body += sphere(8.0, center_mm=[13, 0, 5], segments=48)
    return write_stl(body, tmp_path / "part.stl")


@pytest.mark.parametrize("command", sorted(CONTRACT))
def test_json_carries_the_fields_of_the_contract(mirrorprep, part, command):
    answer = mirrorprep(command, part, "--units", "mm", "--json")
    assert answer.code == 0
    assert CONTRACT[command] <= answer.json.keys()
    assert answer.err.strip() == cautions.RESEARCH_ONLY


@pytest.mark.parametrize("command", sorted(CONTRACT))
def test_text_names_units_and_caution(mirrorprep, part, command):
    answer = mirrorprep(command, part)
    assert answer.code == 0
    assert "mm" in answer.out
    assert "CAUTION  unit-guessed" in answer.out or command in {"pour", "plane", "measure"}


def test_plane_finds_the_only_symmetry(mirrorprep, part):
    result = mirrorprep("plane", part, "--units", "mm", "--json").json
    assert abs(result["normal"][1]) == pytest.approx(1.0, abs=1e-4)
    assert result["offset_mm"] == pytest.approx(0.0, abs=0.02)


def test_measure_agrees_with_the_units(mirrorprep, part):
    mm = mirrorprep("measure", part, "--units", "mm", "--json").json
    inch = mirrorprep("measure", part, "--units", "in", "--json").json
    assert inch["volume_mm3"] == pytest.approx(mm["volume_mm3"] * 25.4**3, rel=1e-6)


def test_mirror_writes_a_solid_right_side_out(mirrorprep, part, tmp_path):
    for name in ("out.stl", "out.3mf", "out.ply"):
        answer = mirrorprep(
            "mirror",
            part,
            "--units",
            "mm",
            "-o",
            tmp_path / name,
            "--normal",
            "1,0,0",
            "--offset-mm",
            30,
            "--json",
        )
        assert answer.code == 0
        image = read_scan(tmp_path / name, units="mm")
        assert answer.json["volume_mm3"] == pytest.approx(read_volume(part), rel=1e-6)
        assert image.bounds_mm[0, 0] == pytest.approx(
            60 - read_scan(part, units="mm").bounds_mm[1, 0], abs=1e-4
        )


def read_volume(path) -> float:
    from mirrorprep.measurement.measure import measure

    return measure(read_scan(path, units="mm")).volume_mm3


def test_mirror_carries_colours(mirrorprep, tmp_path):
    mesh = box([1, 2, 3]).mesh
    colors = np.arange(32, dtype=np.uint8).reshape(8, 4)
    write_ply(ScanMesh(vertices=mesh.vertices, faces=mesh.faces, colors=colors), tmp_path / "c.ply")
    mirrorprep("mirror", tmp_path / "c.ply", "-o", tmp_path / "m.ply", "--normal", "1,0,0", "--units", "mm")
    assert np.array_equal(read_scan(tmp_path / "m.ply", units="mm").colors, colors)


def test_nothing_is_overwritten_without_being_told(mirrorprep, part, tmp_path):
    words = ["mirror", part, "--units", "mm", "-o", tmp_path / "o.stl", "--normal", "0,1,0"]
    assert mirrorprep(*words).code == 0
    before = (tmp_path / "o.stl").read_bytes()
    again = mirrorprep(*words)
    assert again.code == 7
    assert "exists already" in again.err
    assert (tmp_path / "o.stl").read_bytes() == before
    assert mirrorprep(*words, "--overwrite").code == 0


@pytest.mark.parametrize(
    ("words", "code", "sentence"),
    [
        (["mirror", "PART", "-o", "x.obj"], 2, "no extension that can be written"),
        (
            ["mirror", "PART", "-o", "absent/x.stl", "--normal", "0,1,0", "--units", "mm"],
            7,
            "folder does not exist",
        ),
        (["mirror", "PART", "-o", "x.stl", "--normal", "up"], 2, "is not a vector"),
        (["mould", "OPEN", "-o", "m", "--units", "mm"], 5, "not closed"),
        (["mould", "PART", "-o", "m", "--units", "mm", "--body", "ball"], 2, "shell, block, cylinder"),
        (["mould", "PART", "-o", "m", "--units", "mm", "--wall-mm", "0.1"], 2, "wall_mm"),
        (["pour", "PART", "--units", "mm", "--material", "marzipan"], 2, "marzipan"),
        (["plane", "PART", "--units", "mm", "--choose", "99"], 2, "99"),
        (["plane", "PART", "--units", "mm", "--landmarks", "absent.json"], 3, "absent.json"),
    ],
)
def test_bad_input(mirrorprep, part, tmp_path, monkeypatch, words, code, sentence):
    mesh = read_scan(part, units="mm")
    write_stl(mesh.with_geometry(mesh.vertices, mesh.faces[5:]), tmp_path / "open.stl")
    monkeypatch.chdir(tmp_path)
    named = [{"PART": str(part), "OPEN": "open.stl"}.get(word, word) for word in words]
    before = sorted(tmp_path.iterdir())
    answer = mirrorprep(*named)
    assert answer.code == code
    assert sentence in answer.err
    assert "Traceback" not in answer.err
    assert sorted(tmp_path.iterdir()) == before


def test_mould_is_written_read_back_and_proved(mirrorprep, part, tmp_path):
    answer = mirrorprep(
        "mould",
        part,
        "--units",
        "mm",
        "-o",
        tmp_path / "m",
        "--body",
        "block",
        "--parting",
        "plane",
        "--json",
    )
    assert answer.code == 0
    result = answer.json
    names = {
        "pull_direction", "parting", "trapped_mm3", "max_undercut_mm", "halves", "cavity_volume_mm3",
        "channels_volume_mm3", "outer_volume_mm3", "identity_error", "release_interference_mm3",
        "air_pockets", "findings",
    }  # fmt: skip
    assert names <= result.keys()
    assert {"half_a.stl", "half_b.stl", "mould.3mf"} <= {path.name for path in (tmp_path / "m").iterdir()}
    assert abs(result["identity_error"]) <= 1e-9
    for half in result["halves"]:
        assert read_volume(half["file"]) == pytest.approx(half["volume_mm3"], rel=1e-6)
    total = sum(half["volume_mm3"] for half in result["halves"])
    total += result["cavity_volume_mm3"] + result["channels_volume_mm3"] + result["hollows_volume_mm3"]
    assert total == pytest.approx(result["outer_volume_mm3"], rel=1e-6)
    model = pytest.importorskip("lib3mf").get_wrapper().CreateModel()
    reader = model.QueryReader("3mf")
    reader.ReadFromFile(str(tmp_path / "m" / "mould.3mf"))
    assert reader.GetWarningCount() == 0
    found, bodies = model.GetMeshObjects(), {}
    while found.MoveNext():
        bodies[found.GetCurrentMeshObject().GetName()] = found.GetCurrentMeshObject()
    assert set(bodies) == {"half_a", "half_b"}
    for half in result["halves"]:
        assert bodies[half["name"]].IsManifoldAndOriented()
        assert bodies[half["name"]].GetTriangleCount() == half["triangles"]


def test_other_pulls_that_are_told_overrule_the_search(mirrorprep, part, tmp_path):
    words = ["mould", part, "--units", "mm", "--body", "block", "--parting", "contour", "--bolts", "none"]
    first = mirrorprep(*words, "-o", tmp_path / "a")
    (pull, *_) = (line.split(None, 2)[2] for line in first.out.splitlines() if line.startswith("other pull"))
    stated = pull.split(" traps ")[0].replace(" ", "")
    second = mirrorprep(*words, "-o", tmp_path / "b", f"--pull={stated}", "--json")
    assert second.code == 0
    wanted = np.array([float(x) for x in stated.split(",")])
    assert second.json["pull_direction"] == pytest.approx(wanted / np.linalg.norm(wanted), abs=1e-9)


@pytest.mark.parametrize("shrinkage", ["much", "0.1,0.2", "0.5"])
def test_wrong_shrinkage_is_refused(mirrorprep, part, tmp_path, shrinkage):
    answer = mirrorprep("mould", part, "--units", "mm", "-o", tmp_path / "m", "--shrinkage", shrinkage)
    assert answer.code == 2
    assert "shrinkage" in answer.err


def test_mould_for_a_small_bed_comes_in_proved_pieces(mirrorprep, part, tmp_path):
    place = tmp_path / "m"
    words = ["--body", "block", "--parting", "plane", "--bolts", "none", "--bed", "40,45,60"]
    answer = mirrorprep("mould", part, "--units", "mm", "-o", place, *words, "--json")
    assert answer.code == 0
    result = answer.json
    names = [name for half in result["halves"] for name in half["pieces"]]
    assert len(names) >= 4
    assert {path.stem for path in place.glob("half_*_*.stl")} == set(names)
    assert {str(place / f"{name}.stl") for name in names} <= set(result["files"])
    for half, proof in zip(result["halves"], result["proof_of_files"]["pieces"], strict=True):
        volumes = [read_volume(place / f"{name}.stl") for name in half["pieces"]]
        assert sum(volumes) + half["piece_gaps_mm3"] == pytest.approx(half["volume_mm3"], rel=1e-6)
        assert proof["findings"] == []
        assert all(proof["fits_bed"])
    assert "half-divided" in {finding["code"] for finding in result["findings"]}
    model = pytest.importorskip("lib3mf").get_wrapper().CreateModel()
    model.QueryReader("3mf").ReadFromFile(str(place / "mould.3mf"))
    found, bodies = model.GetMeshObjects(), {}
    while found.MoveNext():
        body = found.GetCurrentMeshObject()
        bodies[body.GetName()] = body
    assert set(bodies) == set(names)
    for body in bodies.values():
        assert body.IsManifoldAndOriented()
        extents = np.ptp([list(vertex.Coordinates) for vertex in body.GetVertices()], axis=0)
        assert (np.sort(extents[:2]) <= [40.001, 45.001]).all()


def test_mould_can_be_drawn(mirrorprep, part, tmp_path):
    from mirrorprep.handover.display import working_window

    if working_window() is None:
        pytest.skip("this machine cannot draw off-screen")
    words = ["--body", "block", "--bolts", "none", "--no-feet", "--keys", "3", "--code", "EAR-07"]
    words += ["--shrinkage", "0,0,0.01", "--pictures"]
    answer = mirrorprep("mould", part, "--units", "mm", "-o", tmp_path / "m", *words)
    assert answer.code == 0
    told = {line.split("  ")[0]: line for line in answer.out.splitlines()}
    assert "3 keys, no bolts, 2 slots" in told["keys, bolts"]
    assert "comes out" in told["rigid casting"]
    assert "comes out" in told["flexible casting"]
    assert "least" in told["walls"]
    assert "falls at a tilt of" in told["stands"]
    assert "cm² on the bed" in told["half_a"]
    assert " traps " in told["other pull"]
    assert "0 over 5 mm³ without a vent" in told["air pockets"]
    (cavity,) = (line for line in answer.out.splitlines() if line.startswith("cavity"))
    assert float(cavity.split()[1]) == pytest.approx(read_volume(part) / 0.99, rel=1e-3)
    drawn = {path.stem for path in (tmp_path / "m").glob("*.png")}
    assert drawn == {"landscape", "parting", "undercut", "draft", "exploded", "backs", "cutaway", "filling"}


def test_undercut_part_stops_a_rigid_mould_and_writes_nothing(mirrorprep, tmp_path):
    """Two spheres of 10 mm at ±12 mm on a 3 mm rod, pulled along the rod, are hooked behind each half."""
    dumbbell = sphere(10, center_mm=[0, 0, 12], segments=48) + sphere(10, center_mm=[0, 0, -12], segments=48)
    dumbbell += box([4, 4, 20])
    file = write_stl(dumbbell, tmp_path / "d.stl")
    words = ["mould", file, "--units", "mm", "--body", "block", "--pull", "0,0,1", "--casting", "rigid"]
    answer = mirrorprep(*words, "-o", tmp_path / "m", "--json")
    assert answer.code in {5, 6}
    assert not (tmp_path / "m").exists()


def test_new_and_schema_fit_together(mirrorprep, tmp_path):
    assert mirrorprep("new", tmp_path / "job.toml").code == 0
    tables = tomllib.loads((tmp_path / "job.toml").read_text(encoding="utf-8"))
    assert tables.keys() == mirrorprep("schema").json["properties"].keys()
    assert mirrorprep("new", tmp_path / "job.toml").code == 7
    unfilled = mirrorprep("run", tmp_path / "job.toml")
    assert unfilled.code == 4
    assert "job.purpose" in unfilled.err


def test_mend_closes_a_scan_and_says_what_it_did(mirrorprep, part, tmp_path):
    mesh = read_scan(part, units="mm")
    write_stl(mesh.with_geometry(mesh.vertices, mesh.faces[3:]), tmp_path / "open.stl")
    answer = mirrorprep(
        "mend", tmp_path / "open.stl", "--units", "mm", "-o", tmp_path / "closed.3mf", "--json"
    )
    assert answer.code == 0
    assert answer.json["solid"]
    assert read_volume(tmp_path / "closed.3mf") == pytest.approx(read_volume(part), rel=1e-3)

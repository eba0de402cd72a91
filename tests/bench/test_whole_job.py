"""A whole job on the page: the same bytes as on the command line, and a store that looking never changes."""

import hashlib
import json
from pathlib import Path

import numpy as np
import pytest

from mirrorprep.bench.steps import STEPS
from mirrorprep.handover.files import write_stl
from mirrorprep.job.run import run_job
from mirrorprep.solid.primitives import sphere


def digests(folder: Path) -> dict[str, str]:
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def unpacked(data: bytes):
    """Read a body as the page does."""
    length = int.from_bytes(data[:4], "little")
    header = json.loads(data[4 : 4 + length])
    assert length % 4 == 0
    values = np.frombuffer(data[4 + length :], dtype="<f4")
    places, rest = values[: 3 * header["vertices"]], values[3 * header["vertices"] :]
    faces = rest[: 3 * header["triangles"]].view("<u4")
    maps = rest[3 * header["triangles"] :]
    assert len(maps) == len(header["maps"]) * header["vertices"]
    return (
        header,
        places.reshape(-1, 3),
        faces.reshape(-1, 3),
        maps.reshape(len(header["maps"]), header["vertices"]),
    )


@pytest.fixture(scope="module")
def done(tmp_path_factory, open_page, pear_file, pear_job):
    """A job on the pear, walked step by step to its handover."""
    page = open_page(tmp_path_factory.mktemp("whole") / "bench_job")
    page.put("api/scan/scan?name=pear.stl", content=pear_file.read_bytes())
    page.change({**pear_job, "waive.codes": []})
    for step in ("scan", "plane", "measure", "mould", "handover"):
        assert page.post("api/run", {"through": step}).status_code == 200
        assert page.wait()["failed"] is None
    yield page
    page.desk.close()


def test_every_step_is_done(done):
    states = done.steps()
    assert states.pop("seat") == "left out"
    assert set(states.values()) == {"done"}
    state = done.state()
    figures = {step["name"]: step["figures"] for step in state["steps"]}
    assert figures["measure"]["volume_mm3"] > 1000
    assert figures["parting"]["pull_direction"] == figures["mould"]["pull_direction"]
    assert {entry["name"] for entry in state["outputs"]} >= {"half_a.stl", "traveller.html", "SHA256SUMS"}


def test_the_job_file_gives_the_same_bytes_on_the_command_line(done, tmp_path):
    folder = done.desk.files.folder
    run_job(folder / "job.toml", folder=tmp_path / "again")
    assert digests(tmp_path / "again") == digests(folder / "handover")


def test_outputs_are_sent_as_they_are(done):
    for entry in done.state()["outputs"]:
        answer = done.get(f"out/{entry['name']}")
        file = done.desk.files.folder / "handover" / entry["name"]
        assert answer.content == file.read_bytes()
        assert len(answer.content) == entry["bytes"]
        assert answer.headers["content-security-policy"].startswith(
            "sandbox allow-scripts; default-src 'none'"
        )
        assert answer.headers["x-content-type-options"] == "nosniff"


def test_looking_changes_nothing(done):
    """Every body, the undercut, the landscape and the level are read from the store, which stays as it is."""
    folder = done.desk.files.folder
    before = digests(folder)
    seen = 0
    for step in done.state()["steps"]:
        for entry in step["bodies"]:
            header, places, faces, maps = unpacked(
                done.get(f"api/body/{step['name']}/{entry['name']}").content
            )
            assert header["full_triangles"] == entry["triangles"]
            assert [each["name"] for each in header["maps"]] == entry["maps"]
            assert faces.max() < len(places)
            assert np.isfinite(places).all()
            assert abs(places.mean(axis=0)).max() < 1e-3
            assert np.isfinite(maps).any() or not len(maps)
            seen += 1
    assert seen == 13
    done.get("api/landscape")
    done.get("api/level")
    done.post("api/undercut", {"direction": [0, 0, 1]})
    assert digests(folder) == before


def test_the_undercut_lies_on_the_part(done):
    header, *_ = unpacked(done.get("api/body/measure/part").content)
    data = done.post("api/undercut", {"direction": [0, 1, 0]}).content
    length = int.from_bytes(data[:4], "little")
    told = json.loads(data[4 : 4 + length])
    depth = np.frombuffer(data[4 + length :], dtype="<f4")
    assert len(depth) == told["vertices"] == header["vertices"]
    figures = told["figures"]
    volume = done.state()["steps"][5]["figures"]["volume_mm3"]
    assert figures["volume_mm3"] == pytest.approx(volume, rel=0.01)
    assert 0.0 <= figures["bound_mm3"] <= figures["plane_trapped_mm3"]


def test_the_level_fills_the_mould(done):
    level = done.get("api/level").json()
    volumes = np.array(level["volumes_mm3"])
    assert (np.diff(volumes) >= 0.0).all()
    assert volumes[0] == 0.0
    assert volumes[-1] + level["trapped_mm3"] == pytest.approx(level["volume_mm3"], rel=1e-9)


def test_the_landscape_holds_the_direction_that_the_mould_took(done):
    land = done.get("api/landscape").json()
    taken = np.array(done.state()["steps"][7]["figures"]["pull_direction"])
    best = np.array([each["direction"] for each in land["best"]])
    assert np.abs(best @ taken).max() > 0.999
    assert len(land["share"]) == len(land["plane_share"]) == len(land["directions"])


def test_a_change_makes_later_steps_stale_and_a_reload_shows_the_same(done):
    """What lies before a changed entry stays done; the page holds nothing that the server does not."""
    base = done.state()
    done.change({"mould.wall_mm": 6.5})
    states = done.steps()
    assert (states["measure"], states["mould"], states["pour"], states["handover"]) == (
        "done", "stale", "stale", "stale",
    )  # fmt: skip
    assert done.get("api/body/mould/half_a").status_code == 200
    first, again = done.state(), done.state()
    assert first == again
    done.change({"mould.wall_mm": base["job"]["mould"]["wall_mm"]})
    assert done.steps()["handover"] == "done"


def test_a_finding_that_stops_the_job_is_told_and_can_be_waived(page, pear_job, tmp_path):
    """A ball has a mirror plane through every diameter: the job stops, as `run` does, until waived."""
    ball = write_stl(sphere(12.0, segments=24), tmp_path / "ball.stl")
    page.put("api/scan/scan?name=ball.stl", content=ball.read_bytes())
    page.change({**pear_job, "mould.build": False})
    page.post("api/run", {"through": "measure"})
    state = page.wait()
    assert (state["failed"]["step"], state["failed"]["exit_code"]) == ("plane", 6)
    steps = {step["name"]: step for step in state["steps"]}
    assert (steps["plane"]["state"], steps["measure"]["state"]) == ("stopped", "empty")
    assert (steps["mould"]["state"], steps["pour"]["state"]) == ("left out", "left out")
    codes = [f["code"] for f in steps["plane"]["findings"] if f["severity"] == "stop"]
    page.change({"waive.codes": codes})
    assert page.steps()["plane"] == "done"
    assert all(f["waived"] for f in page.state()["steps"][2]["findings"] if f["severity"] == "stop")
    page.post("api/run", {"through": "measure"})
    assert page.wait()["failed"] is None
    assert page.steps()["measure"] == "done"


def test_titles_are_the_trades():
    assert [step.title for step in STEPS][:3] == ["Scan in", "Condition", "Mirror plane"]

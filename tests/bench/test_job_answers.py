"""The job through the page: state, changes, files, and errors as the usual sentences."""

import json

import pytest

from mirrorprep.intake.registry import FORMATS
from mirrorprep.job.jobfile import read_job
from mirrorprep.symmetry.landmarks import read_landmarks


def test_a_fresh_page(page):
    state = page.state()
    assert state["folder"] == "bench_job"
    assert "job.code" in state["problem"]["message"] or "purpose" in state["problem"]["message"]
    assert {step["state"] for step in state["steps"]} == {"empty"}
    assert (state["running"], state["failed"], state["outputs"]) == (None, None, [])


def test_schema(page):
    schema = page.get("api/schema").json()
    assert schema["tables"]["mould"]["entries"]["wall_mm"]["high"] == 100.0
    assert [step["name"] for step in schema["steps"]] == [
        "scan", "condition", "plane", "mirror", "seat", "measure", "parting", "mould", "pour", "handover",
    ]  # fmt: skip


def test_a_change_lands_in_the_file_that_run_takes(page, pear_file, pear_job):
    assert page.put("api/scan/scan?name=Jane%20Doe.STL", content=pear_file.read_bytes()).status_code == 200
    state = page.change(pear_job).json()
    assert state["problem"] is None
    assert state["job"]["job"]["code"] == "P-7"
    job = read_job(page.desk.files.job_file)
    assert (job.scan.file, job.scan.accuracy_mm, job.mould.body) == ("scan.stl", 0.1, "block")
    assert page.steps()["scan"] == "ready"
    assert not any("Jane" in path.name for path in page.desk.files.folder.rglob("*"))
    assert "Jane" not in page.desk.files.job_file.read_text(encoding="utf-8")


def test_two_pages_with_the_same_revision(page):
    """The second change on one revision is told so and changes nothing."""
    base = page.state()["job_revision"]
    assert page.change({"mould.wall_mm": 7.0}, base=base).status_code == 200
    late = page.change({"mould.wall_mm": 9.0}, base=base)
    assert late.status_code == 409
    assert "has changed" in late.json()["error"]["message"]
    assert page.state()["job"]["mould"]["wall_mm"] == 7.0


def test_a_wrong_value_changes_nothing(page):
    before = page.state()
    answer = page.change({"mould.key_count": 4, "mould.wall_mm": 1000})
    error = answer.json()["error"]
    assert (answer.status_code, error["exit_code"]) == (400, 4)
    assert (error["message"], error["remedy"]) == ("mould.wall_mm is 1000.", "Give a value from 0.5 to 100.")
    assert page.state() == before


@pytest.mark.parametrize("name", ["../../x", "/etc/passwd", "sub/x.stl", "..\\x", "absent.stl"])
def test_files_outside_are_refused(page, name):
    answer = page.change({"scan.file": name})
    assert answer.status_code == 400
    assert page.state()["job"]["scan"]["file"] == ""


@pytest.mark.parametrize(
    ("body", "kind"),
    [
        (b"{", "application/json"),
        (b"[]", "application/json"),
        (b'{"base": 1, "changes": {"plane.offset_mm": NaN}}', "application/json"),
        (b'{"base": 1, "changes": {"plane.offset_mm": 1e999}}', "application/json"),
        (b'{"base": 1, "changes": 3}', "application/json"),
        (b'{"changes": {}}', "application/json"),
        (b'{"base": 1, "changes": {}}', "text/plain"),
        (b"[" * 100_000, "application/json"),
        (b"\xff\xfe", "application/json"),
    ],
)
def test_odd_requests_are_refused(page, body, kind):
    answer = page.ask("POST", "api/job", content=body, headers={"content-type": kind})
    assert answer.status_code == 400
    assert answer.json()["error"]["remedy"]


@pytest.mark.parametrize("query", ["after=x", "after=nan", "after=1e999", "wait=inf"])
def test_odd_queries_are_refused(page, query):
    assert page.get(f"api/state?{query}").status_code == 400


def test_waiting_for_news(page):
    state = page.state()
    assert page.get(f"api/state?after={state['revision'] - 1}&wait=20").elapsed.total_seconds() < 5
    same = page.get(f"api/state?after={state['revision']}&wait=0.2").json()
    assert same["revision"] == state["revision"]
    page.desk.files.job_file.write_text("[job]\ncode = 'HAND'\n")
    news = page.get(f"api/state?after={state['revision']}&wait=20").json()
    assert news["job"] == {"job": {"code": "HAND"}}
    assert news["job_revision"] > state["job_revision"]


def test_a_broken_job_file_is_told(page):
    page.desk.files.job_file.write_text("[job\n")
    assert "not TOML" in page.state()["problem"]["message"]
    assert page.change({"mould.wall_mm": 7.0}).status_code == 422
    answer = page.post("api/run", {"through": "scan"})
    assert (answer.status_code, answer.json()["error"]["exit_code"]) == (422, 4)


def test_a_job_without_consent_does_not_run(page, pear_file, pear_job):
    page.put("api/scan/scan?name=a.stl", content=pear_file.read_bytes())
    page.change({**pear_job, "job.human_data": True})
    answer = page.post("api/run", {"through": "scan"})
    assert answer.status_code == 422
    assert "consent" in answer.json()["error"]["message"]
    assert page.change({"job.purpose": "clinical"}).json()["problem"]["message"].startswith("The purpose")


def test_scans_go_by_role_and_known_endings(page):
    for suffix in sorted(each for entry in FORMATS.values() for each in entry.suffixes):
        state = page.put(f"api/scan/part?name=x{suffix}", content=b"solid").json()
        assert state["job"]["part"]["file"] == f"part{suffix}"
    assert page.put("api/scan/recipient?name=y.ply", content=b"ply").json()["job"]["seating"]["recipient"]
    assert len(list(page.desk.files.folder.glob("part.*"))) == 1
    assert page.put("api/scan/nose?name=x.stl", content=b"x").status_code == 404
    for name in ("x.exe", "x", ".stl", "stl", "../../x.toml", ""):
        answer = page.put("api/scan/scan", params={"name": name}, content=b"x")
        assert (answer.status_code, answer.json()["error"]["exit_code"]) == (400, 3)
    assert page.put("api/scan/scan", params={"name": "../../etc/x.stl"}, content=b"x").status_code == 200
    assert (page.desk.files.folder / "scan.stl").exists()


def test_picks_land_in_their_file_and_in_the_job(page):
    picks = {"midline": [[0, 0, 1], [0, 1, 0]], "pairs": [[[-1, 0, 0], [1, 0, 0]]]}
    state = page.put("api/points/landmarks", json=picks).json()
    assert state["job"]["plane"]["landmarks"] == "landmarks.txt"
    marks = read_landmarks(page.desk.files.folder / "landmarks.txt")
    assert (len(marks.midline), len(marks.pairs)) == (2, 1)
    state = page.put("api/points/landmarks", json={}).json()
    assert state["job"]["plane"]["landmarks"] == ""
    assert not (page.desk.files.folder / "landmarks.txt").exists()
    loop = {"points": [[0, 0, 0], [1, 0, 0], [0, 1, 0]]}
    assert page.put("api/points/loop", json=loop).json()["job"]["seating"]["select"] == "loop"
    assert page.put("api/points/loop", json={}).json()["job"]["seating"]["select"] == "auto"
    assert page.put("api/points/nose", json={}).status_code == 400


def test_what_does_not_exist(page):
    assert page.post("api/run", {"through": "nose"}).status_code == 400
    assert page.get("api/nothing").status_code == 404
    assert page.get("api/nothing").json()["error"]["message"]
    assert page.ask("DELETE", "api/job").status_code == 405
    for path in ("api/body/scan/scan", "api/body/nose/tip", "api/level", "api/landscape"):
        assert page.get(path).status_code == 400
    assert page.post("api/undercut", {"direction": [0, 0, 1]}).status_code == 400
    assert page.post("api/demo", {"detail": "huge"}).status_code == 400


def test_the_demonstration_does_not_replace_a_scan_unasked(page):
    page.put("api/scan/scan?name=a.stl", content=b"x")
    answer = page.post("api/demo")
    assert answer.status_code == 409
    assert "has a scan" in answer.json()["error"]["message"]


def test_state_is_plain_json(page):
    text = page.get("api/state").text
    json.loads(text, parse_constant=pytest.fail)

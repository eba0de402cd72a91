"""A whole job: files, verdict, resume, privacy, and the same bytes every time."""

import hashlib
import json
import shutil
import signal
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path

import numpy as np
import pytest

from mirrorprep.errors import InputFileError, JobFileError, OutputError, StoppedByFindingError
from mirrorprep.handover.files import write_ply, write_stl
from mirrorprep.job import stages
from mirrorprep.job.run import WORK_FOLDER, run_job
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.primitives import sphere

JOB = """
[job]
code = "P-7"
purpose = "teaching"
human_data = false
[scan]
file = "Jane Doe head.stl"
units = "mm"
accuracy_mm = 0.1
[mould]
body = "block"
[output]
pictures = false
"""


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    """A job on a lopsided pear, run once into 'handover'."""
    folder = tmp_path_factory.mktemp("job")
    body = sphere(15.0, segments=40).transformed(np.diag([1.0, 0.8, 0.7, 1.0]))
    body += sphere(8.0, center_mm=[13, 0, 5], segments=40)
    write_stl(body, folder / "Jane Doe head.stl")
    (folder / "job.toml").write_text(JOB)
    run_job(folder / "job.toml")
    return folder


def digests(folder: Path) -> dict[str, str]:
    return {
        path.name: hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.iterdir())
        if path.is_file()
    }


def test_job_hands_over_everything(place):
    names = set(digests(place / "handover"))
    assert names == {
        "mirrored_part.stl", "mirrored_part.3mf", "half_a.stl", "half_b.stl", "mould.3mf", "casting.stl",
        "traveller.html", "traveller.pdf", "traveller.json", "SHA256SUMS",
    }  # fmt: skip
    assert not (place / "handover" / WORK_FOLDER).exists()


def test_traveller_holds_verdict_digests_and_cautions(place):
    data = json.loads((place / "handover" / "traveller.json").read_text(encoding="utf-8"))
    listed = {entry["name"]: entry["sha256"] for entry in data["files"]}
    actual = digests(place / "handover")
    assert {name: listed[name] for name in actual if name in listed} == {
        name: digest for name, digest in actual.items() if not name.startswith(("traveller", "SHA"))
    }
    assert all(check["holds"] for check in data["checks"])


def test_no_name_from_the_scan_reaches_an_output(place):
    for path in (place / "handover").iterdir():
        assert b"Jane" not in path.read_bytes()


def test_same_job_same_bytes(place):
    run_job(place / "job.toml", folder=place / "again")
    assert digests(place / "again") == digests(place / "handover")


def test_existing_results_are_refused_before_any_work(place):
    with pytest.raises(OutputError, match="exists already"):
        run_job(place / "job.toml")


def test_a_stopped_run_goes_on_from_its_finished_stages(place, monkeypatch):
    def fail(*_: object, **__: object) -> None:
        raise RuntimeError("power cut")

    with monkeypatch.context() as patch:
        patch.setattr(stages, "build_mould", fail)
        with pytest.raises(RuntimeError, match="power cut"):
            run_job(place / "job.toml", folder=place / "resumed")
    kept = sorted(path.stem for path in (place / "resumed" / WORK_FOLDER).iterdir())
    assert kept == ["condition", "intake", "measurement", "symmetry"]
    with monkeypatch.context() as patch:
        for name in ("read_scan", "check", "find_mirror_plane", "measure"):
            patch.setattr(stages, name, fail)
        run_job(place / "job.toml", folder=place / "resumed")
    assert digests(place / "resumed") == digests(place / "handover")


def test_a_changed_scan_is_not_taken_from_the_store(place, tmp_path, monkeypatch):
    shutil.copy(place / "job.toml", tmp_path)
    write_stl(sphere(12.0, segments=24), tmp_path / "Jane Doe head.stl")
    (tmp_path / "handover").mkdir()

    def fail(*_: object, **__: object) -> None:
        raise RuntimeError("stop here")

    with monkeypatch.context() as patch:
        patch.setattr(stages, "find_mirror_plane", fail)
        with pytest.raises(RuntimeError, match="stop here"):
            run_job(tmp_path / "job.toml")
        shutil.copy(place / "Jane Doe head.stl", tmp_path)
        with pytest.raises(RuntimeError, match="stop here"):
            run_job(tmp_path / "job.toml")
    run_job(tmp_path / "job.toml")
    assert digests(tmp_path / "handover") == digests(place / "handover")


def test_stop_finding_halts_writes_nothing_and_can_be_waived(place, tmp_path):
    """A ball has a mirror plane through every diameter: the plane is ambiguous, never guessed in silence."""
    write_stl(sphere(12.0, segments=32), tmp_path / "Jane Doe head.stl")
    (tmp_path / "job.toml").write_text(JOB)
    result = run_job(tmp_path / "job.toml")
    assert result.status == "stopped"
    assert result.outputs == ()
    assert digests(tmp_path / "handover") == {}
    with pytest.raises(StoppedByFindingError, match=result.stopped_by[0].code):
        result.require_done()
    codes = ", ".join(f'"{finding.code}"' for finding in result.stopped_by)
    (tmp_path / "job.toml").write_text(f"{JOB}\n[waive]\ncodes = [{codes}]\n")
    waived = run_job(tmp_path / "job.toml")
    assert waived.status == "done"
    data = json.loads((tmp_path / "handover" / "traveller.json").read_text(encoding="utf-8"))
    assert [waiver["code"] for waiver in data["waivers"]] == [finding.code for finding in result.stopped_by]


def test_stated_plane_is_taken(place, tmp_path):
    shutil.copy(place / "Jane Doe head.stl", tmp_path)
    (tmp_path / "job.toml").write_text(
        JOB.replace("[mould]", "[plane]\nnormal = [1, 0, 0]\noffset_mm = 40\n[mould]\nbuild = false")
    )
    result = run_job(tmp_path / "job.toml")
    assert result.status == "done"
    assert [stage.name for stage in result.stages] == ["intake", "condition", "symmetry", "measurement"]
    assert result.stages[2].figures["status"] == "stated"


@pytest.mark.parametrize(
    ("change", "kind", "words"),
    [
        (("Jane Doe head.stl", "absent.stl"), InputFileError, "absent.stl"),
        (('code = "P-7"', 'code = ""'), JobFileError, "subject code"),
        (('purpose = "teaching"', 'purpose = "clinical"'), JobFileError, "refused"),
    ],
)
def test_bad_jobs(place, tmp_path, change, kind, words):
    shutil.copy(place / "Jane Doe head.stl", tmp_path)
    (tmp_path / "job.toml").write_text(JOB.replace(*change))
    with pytest.raises(kind, match=words):
        run_job(tmp_path / "job.toml")
    assert [path for path in tmp_path.glob("handover/*") if path.is_file()] == []


@pytest.mark.skipif(sys.platform == "win32", reason="needs SIGKILL")
def test_killed_at_any_moment_leaves_each_file_old_or_new(place, tmp_path):
    """Over the handover of an older job; each run goes on where the last was killed, until one ends."""
    old = digests(place / "handover")
    job = place / "other.toml"
    job.write_text(JOB.replace("P-7", "P-8").replace("accuracy_mm = 0.1", "accuracy_mm = 0.2"))
    words = [sys.executable, "-m", "mirrorprep", "run", str(job), "--overwrite", "-o"]
    began = time.monotonic()
    subprocess.run([*words, str(tmp_path / "calm")], check=True, capture_output=True)
    calm_s, new = time.monotonic() - began, digests(tmp_path / "calm")
    assert all(old[name] != new[name] for name in ("traveller.html", "traveller.json", "SHA256SUMS"))
    out = shutil.copytree(place / "handover", tmp_path / "out")
    killed = 0
    while True:
        running = subprocess.Popen([*words, str(out)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        with suppress(subprocess.TimeoutExpired):
            running.wait((0.4 + 0.08 * killed) * calm_s)
            break
        running.send_signal(signal.SIGKILL)
        running.wait()
        killed += 1
        left = named(out)
        assert left.keys() == old.keys()
        assert all(digest in (old[name], new[name]) for name, digest in left.items())
    assert running.returncode == 0
    assert killed > 0
    assert named(out) == new


def named(folder: Path) -> dict[str, str]:
    """Return the digests of all files but those that a killed write left behind under its own name."""
    return {name: d for name, d in digests(folder).items() if not name.startswith(".mirrorprep-")}


def test_kept_region_and_colours(tmp_path):
    """What lies outside the region to keep is cropped away at once; colours go unless asked for."""
    body = sphere(15.0, segments=24).transformed(np.diag([1.0, 0.8, 0.7, 1.0])).mesh
    far = body.with_geometry(body.vertices + np.array([100.0, 0, 0]))
    both = ScanMesh(
        vertices=np.vstack([body.vertices, far.vertices]),
        faces=np.vstack([body.faces, far.faces + len(body.vertices)]),
        colors=np.full((2 * len(body.vertices), 4), 200, dtype=np.uint8),
    )
    write_ply(both, tmp_path / "two.ply")
    (tmp_path / "keep.json").write_text('{"use": [{"sphere": [0, 0, 0, 40]}]}')
    text = JOB.replace("Jane Doe head.stl", "two.ply").replace(
        "[mould]", "[plane]\nnormal = [0, 1, 0]\n[mould]\nbuild = false"
    )
    (tmp_path / "job.toml").write_text(text)
    result = run_job(tmp_path / "job.toml", keep_region=tmp_path / "keep.json", lesson=True)
    kept = result.stages[0].mesh("scan")
    assert len(kept.faces) == len(body.faces)
    assert kept.colors is None
    assert (tmp_path / "handover" / "lesson.html").exists()
    assert b"keep.json" not in (tmp_path / "handover" / "traveller.json").read_bytes()
    (tmp_path / "job.toml").write_text(text.replace('units = "mm"', 'units = "mm"\ncolors = true'))
    colored = run_job(tmp_path / "job.toml", folder=tmp_path / "colored")
    assert colored.stages[0].mesh("scan").colors is not None

"""One job in one folder: revisions, hand edits, the lock, and nothing outside."""

import os
import sys

import pytest

from mirrorprep.bench.folder import Digests, JobFolder, StaleRevisionError, UnreadableJobError, is_bare_name
from mirrorprep.errors import JobFileError, OutputError, UsageError
from mirrorprep.job.jobfile import template


@pytest.fixture
def folder(tmp_path):
    made = JobFolder(tmp_path / "job")
    yield made
    made.close()


def test_a_fresh_folder_holds_the_commented_template(folder):
    assert folder.job_file.read_text(encoding="utf-8") == template()
    state = folder.current()
    assert state.revision == 1
    assert "purpose" in state.problem.message


def test_a_change_on_an_old_revision_is_refused(folder):
    first = folder.current().revision
    folder.change({"mould.wall_mm": 7.0}, base=first)
    with pytest.raises(StaleRevisionError, match="has changed"):
        folder.change({"mould.wall_mm": 9.0}, base=first)
    assert folder.current().job.mould.wall_mm == 7.0


def test_a_hand_edit_is_taken_up_and_never_overwritten(folder):
    seen = folder.current().revision
    text = folder.job_file.read_text(encoding="utf-8").replace("wall_mm = 6.0", "wall_mm = 5.0")
    folder.job_file.write_text(text, encoding="utf-8")
    with pytest.raises(StaleRevisionError):
        folder.change({"mould.key_count": 2}, base=seen)
    state = folder.change({"mould.key_count": 2}, base=folder.current().revision)
    assert (state.job.mould.wall_mm, state.job.mould.key_count) == (5.0, 2)


def test_the_same_text_again_is_no_new_revision(folder):
    before = folder.current()
    folder.job_file.write_text(before.text, encoding="utf-8")
    assert folder.current().revision == before.revision


@pytest.mark.parametrize("damage", [b"[job\n", b'[job]\nuse = "\xff"\n', b"# " + b"x" * (1 << 20)])
def test_a_broken_job_file_is_told_and_left_alone(folder, damage):
    folder.job_file.write_bytes(damage)
    assert isinstance(folder.current().problem, UnreadableJobError)
    with pytest.raises(UnreadableJobError):
        folder.change({"mould.wall_mm": 7.0})
    with pytest.raises(UnreadableJobError), folder.receive("scan.stl", entry="scan.file", also={}) as file:
        file.write(b"x")
    assert folder.job_file.read_bytes() == damage
    assert not (folder.folder / "scan.stl").exists()


def test_a_wrong_value_by_hand_can_be_put_right_on_the_page(folder):
    folder.job_file.write_text("[mould]\nwall_mm = -4\n")
    assert "-4" in str(folder.current().problem)
    assert folder.change({"mould.wall_mm": 4.0}).job.mould.wall_mm == 4.0


def test_a_second_bench_on_the_same_folder_is_refused(folder, tmp_path):
    with pytest.raises(OutputError, match="another bench"):
        JobFolder(tmp_path / "job")
    folder.close()
    JobFolder(tmp_path / "job").close()


@pytest.mark.parametrize(
    "name",
    [
        "../x.stl",
        "/etc/passwd",
        "sub/x.stl",
        "..",
        ".work",
        ".bench.lock",
        "C:x.stl",
        "\\\\host\\x",
        "a\0b",
        "x. ",
    ],
)
@pytest.mark.parametrize("entry", ["scan.file", "plane.landmarks", "seating.recipient", "output.folder"])
def test_names_that_lead_outside_are_refused(folder, entry, name):
    text = folder.current().text
    with pytest.raises(JobFileError, match="plain name"):
        folder.change({entry: name})
    assert folder.current().text == text


def test_a_file_must_be_there(folder):
    with pytest.raises(JobFileError, match="no such file"):
        folder.change({"scan.file": "absent.stl"})
    (folder.folder / "there.stl").write_bytes(b"x")
    assert folder.change({"scan.file": "there.stl"}).job.scan.file == "there.stl"


@pytest.mark.skipif(sys.platform == "win32", reason="links need rights there")
def test_links_that_lead_outside_are_not_followed(folder, tmp_path):
    outside = tmp_path / "outside.stl"
    outside.write_bytes(b"precious")
    os.symlink(outside, folder.folder / "scan.stl")
    with (
        pytest.raises(UsageError, match="outside"),
        folder.receive("scan.stl", entry="scan.file", also={}) as file,
    ):
        file.write(b"overwritten")
    os.symlink(tmp_path, folder.folder / "away")
    with pytest.raises(UsageError, match="outside"):
        folder.inside("away/x")
    with pytest.raises(JobFileError):
        folder.change({"output.folder": "away/x"})
    assert outside.read_bytes() == b"precious"


def test_a_file_is_received_whole_or_not_at_all(folder):
    with folder.receive("scan.stl", entry="scan.file", also={}) as file:
        file.write(b"first")

    def interrupted():
        with folder.receive("scan.ply", entry="scan.file", also={}) as file:
            file.write(b"half")
            raise RuntimeError("the line went dead")

    with pytest.raises(RuntimeError, match="the line went dead"):
        interrupted()
    assert folder.current().job.scan.file == "scan.stl"
    assert sorted(path.name for path in folder.folder.glob("[!.]*")) == ["job.toml", "scan.stl"]
    with folder.receive("scan.ply", entry="scan.file", also={}) as file:
        file.write(b"second")
    assert folder.current().job.scan.file == "scan.ply"
    assert sorted(path.name for path in folder.folder.glob("[!.]*")) == ["job.toml", "scan.ply"]
    assert not list(folder.folder.glob(".mirrorprep-*"))


def test_digests_follow_the_content(tmp_path):
    digests, file = Digests(), tmp_path / "a"
    assert digests.of(file) == ""
    file.write_bytes(b"1")
    first = digests.of(file)
    file.write_bytes(b"22")
    assert digests.of(file) not in ("", first)


def test_bare_names():
    assert is_bare_name("scan left.stl")
    assert not is_bare_name("a:b")

"""Whole or not at all: each way of failing is really provoked."""

import os
import signal
import subprocess
import sys
import textwrap
import time
from pathlib import Path

import pytest

from mirrorprep.errors import OutputError
from mirrorprep.handover import atomic
from mirrorprep.handover.atomic import (
    atomic_write,
    output_folder,
    remove_leftovers,
    write_bytes,
    write_text,
)


def test_a_file_appears_whole(tmp_path):
    path = write_text(tmp_path / "a.txt", "grün\n")
    assert path.read_bytes() == "grün\n".encode()
    assert [p.name for p in tmp_path.iterdir()] == ["a.txt"]


def test_new_files_have_the_usual_permissions(tmp_path):
    plain = tmp_path / "plain"
    plain.write_bytes(b"x")
    written = write_bytes(tmp_path / "written", b"x")
    assert written.stat().st_mode == plain.stat().st_mode


def test_an_error_inside_the_block_leaves_the_old_file(tmp_path):
    path = write_bytes(tmp_path / "a.txt", b"old")

    def stop_half_way():
        with atomic_write(path, overwrite=True) as file:
            file.write(b"half")
            raise ValueError("stop")

    with pytest.raises(ValueError, match="stop"):
        stop_half_way()
    assert path.read_bytes() == b"old"
    assert [p.name for p in tmp_path.iterdir()] == ["a.txt"]


def test_existing_file_is_kept_unless_told(tmp_path):
    path = write_bytes(tmp_path / "a.txt", b"old")
    with pytest.raises(OutputError, match="exists already"):
        write_bytes(path, b"new")
    assert path.read_bytes() == b"old"
    write_bytes(path, b"new", overwrite=True)
    assert path.read_bytes() == b"new"


def test_a_file_that_appears_meanwhile_is_kept(tmp_path):
    path = tmp_path / "a.txt"

    def write_late():
        with atomic_write(path) as file:
            file.write(b"mine")
            path.write_bytes(b"theirs")

    with pytest.raises(OutputError, match="exists already"):
        write_late()
    assert path.read_bytes() == b"theirs"
    assert [p.name for p in tmp_path.iterdir()] == ["a.txt"]


def test_without_hard_links_the_file_still_appears(tmp_path, monkeypatch):
    def no_links(source, target):
        raise OSError(95, "Operation not supported")

    monkeypatch.setattr(os, "link", no_links)
    assert write_bytes(tmp_path / "a", b"x").read_bytes() == b"x"
    with pytest.raises(OutputError, match="exists already"), atomic_write(tmp_path / "b"):
        (tmp_path / "b").write_bytes(b"theirs")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a", "b"]


def test_a_link_stays_a_link(tmp_path):
    write_bytes(tmp_path / "real", b"old")
    (tmp_path / "link").symlink_to(tmp_path / "real")
    write_bytes(tmp_path / "link", b"new", overwrite=True)
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "real").read_bytes() == b"new"


def test_missing_folder_folder_as_file_and_file_as_folder(tmp_path):
    with pytest.raises(OutputError, match="folder does not exist"):
        write_bytes(tmp_path / "absent" / "a", b"x")
    with pytest.raises(OutputError, match="is a folder"):
        write_bytes(tmp_path, b"x", overwrite=True)
    write_bytes(tmp_path / "file", b"x")
    with pytest.raises(OutputError, match="is not a folder"):
        output_folder(tmp_path / "file")
    with pytest.raises(OutputError, match="is not a folder"):
        output_folder(tmp_path / "file" / "below")
    assert output_folder(tmp_path / "new" / "deep").is_dir()


def test_name_too_long(tmp_path):
    with pytest.raises(OutputError, match="cannot be written"):
        write_bytes(tmp_path / ("n" * 300), b"x")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="permissions do not bind root")
def test_unwritable_folder(tmp_path):
    tmp_path.chmod(0o500)
    try:
        with pytest.raises(OutputError, match="not writable"):
            write_bytes(tmp_path / "a", b"x")
        with pytest.raises(OutputError, match="not writable"):
            output_folder(tmp_path / "sub")
    finally:
        tmp_path.chmod(0o700)


@pytest.mark.parametrize(("number", "words"), [(28, "disk is full"), (30, "not writable"), (5, "cannot be")])
def test_errors_of_the_system_become_one_sentence(tmp_path, monkeypatch, number, words):
    def fail(handle):
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(atomic.os, "fsync", fail)
    with pytest.raises(OutputError, match=words) as caught:
        write_bytes(tmp_path / "a", b"x")
    assert caught.value.exit_code == 7
    assert caught.value.remedy
    assert list(tmp_path.iterdir()) == []


def test_folder_that_the_system_refuses(tmp_path, monkeypatch):
    def fail(self, **options):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "mkdir", fail)
    with pytest.raises(OutputError, match="not writable"):
        output_folder(tmp_path / "sub")


@pytest.mark.skipif(sys.platform == "win32", reason="needs a file-size limit")
def test_running_out_of_room_really(tmp_path):
    code = f"""
        import resource
        resource.setrlimit(resource.RLIMIT_FSIZE, (4096, 4096))
        from mirrorprep.handover.atomic import write_bytes
        from mirrorprep.errors import OutputError
        try:
            write_bytes({str(tmp_path / "a")!r}, bytes(100_000))
        except OutputError as error:
            print("refused:", error)
    """
    done = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(code)], capture_output=True, text=True, check=True
    )
    assert done.stdout.startswith("refused: ")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(sys.platform == "win32", reason="needs SIGKILL")
def test_killed_at_any_moment_leaves_the_old_or_the_new(tmp_path):
    path = tmp_path / "data"
    contents = {bytes([fill]) * 300_000 for fill in b"ab"}
    path.write_bytes(min(contents))
    code = f"""
        from mirrorprep.handover.atomic import write_bytes
        print("ready", flush=True)
        while True:
            for fill in b"ab":
                write_bytes({str(path)!r}, bytes([fill]) * 300_000, overwrite=True)
    """
    for round_number in range(12):
        with subprocess.Popen(
            [sys.executable, "-c", textwrap.dedent(code)], stdout=subprocess.PIPE
        ) as process:
            process.stdout.readline()
            time.sleep(0.002 + 0.0037 * round_number)
            process.send_signal(signal.SIGKILL)
        assert path.read_bytes() in contents
    remove_leftovers(tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == ["data"]


def test_leftovers_are_counted_and_removed(tmp_path):
    (tmp_path / ".mirrorprep-0011.part").write_bytes(b"half")
    (tmp_path / "kept.part").write_bytes(b"whole")
    assert remove_leftovers(tmp_path) == 1
    assert [p.name for p in tmp_path.iterdir()] == ["kept.part"]

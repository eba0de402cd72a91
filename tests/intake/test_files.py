"""Opening files: what is no file, and what may not be read."""

import os
import socket
import sys
import tracemalloc

import pytest

from mirrorprep.errors import InputFileError, UsageError
from mirrorprep.intake import files
from mirrorprep.intake.files import file_bytes
from mirrorprep.intake.read import read_scan

posix = pytest.mark.skipif(sys.platform == "win32", reason="pipes and rights of POSIX systems")


def test_content(tmp_path):
    (tmp_path / "a").write_bytes(b"abc")
    assert file_bytes(tmp_path / "a") == b"abc"


def test_folder(tmp_path):
    with pytest.raises(InputFileError, match="leads to a folder"):
        file_bytes(tmp_path)


@posix
def test_pipe_is_refused_at_once(tmp_path):
    os.mkfifo(tmp_path / "a.stl")
    with pytest.raises(InputFileError, match="leads to a pipe"):
        file_bytes(tmp_path / "a.stl")


@posix
def test_device(tmp_path):
    (tmp_path / "a.stl").symlink_to("/dev/zero")
    with pytest.raises(InputFileError, match="leads to a device"):
        file_bytes(tmp_path / "a.stl")


@posix
def test_socket(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)  # the name of a socket may not be long
    with socket.socket(socket.AF_UNIX) as listener:
        listener.bind("a.stl")
        with pytest.raises(InputFileError, match="cannot be opened"):
            file_bytes(tmp_path / "a.stl")


@posix
def test_loop_of_links(tmp_path):
    (tmp_path / "a.stl").symlink_to("b.stl")
    (tmp_path / "b.stl").symlink_to("a.stl")
    with pytest.raises(InputFileError, match=r"cannot be opened|no file"):
        file_bytes(tmp_path / "a.stl")


def test_rights(tmp_path, monkeypatch):
    def refuse(*_):
        raise PermissionError(13, "Permission denied")

    (tmp_path / "a.stl").write_bytes(b"abc")
    monkeypatch.setattr(files.os, "open", refuse)
    with pytest.raises(InputFileError, match="may not be read by this user"):
        file_bytes(tmp_path / "a.stl")


def test_read_error(tmp_path, monkeypatch):
    def fail(_):
        raise OSError(5, "Input/output error")

    (tmp_path / "a.stl").write_bytes(b"abc")
    monkeypatch.setattr(files, "_check_status", fail)
    with pytest.raises(InputFileError, match=r"cannot be read .Input/output error"):
        file_bytes(tmp_path / "a.stl")


def test_lack_of_memory(tmp_path, monkeypatch):
    def fail(_):
        raise MemoryError

    (tmp_path / "a.stl").write_bytes(b"abc")
    monkeypatch.setattr(files, "_check_status", fail)
    with pytest.raises(InputFileError, match="more memory than is free"):
        file_bytes(tmp_path / "a.stl")


def test_empty_and_too_large(tmp_path, monkeypatch):
    (tmp_path / "a").write_bytes(b"")
    with pytest.raises(InputFileError, match=r"empty .0 bytes"):
        file_bytes(tmp_path / "a")
    (tmp_path / "a").write_bytes(b"x" * 101)
    monkeypatch.setattr(files, "MAX_FILE_BYTES", 100)
    with pytest.raises(InputFileError, match=r"101 bytes \(limit 100\)"):
        file_bytes(tmp_path / "a")


def test_memory_is_that_of_the_file_and_no_more(tmp_path):
    (tmp_path / "a").write_bytes(b"x" * 1000)
    tracemalloc.start()
    file_bytes(tmp_path / "a")
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 500_000


def test_growing_file(tmp_path, monkeypatch):
    (tmp_path / "a").write_bytes(b"x" * 1000)
    real = os.fstat

    def before_it_grew(descriptor):
        status = list(real(descriptor))
        status[6] -= 100
        return os.stat_result(status)

    monkeypatch.setattr(files.os, "fstat", before_it_grew)
    with pytest.raises(InputFileError, match="grew while it was read"):
        file_bytes(tmp_path / "a")


def test_names_that_are_none(tmp_path):
    with pytest.raises(InputFileError, match="cannot be opened"):
        read_scan("a\0b.stl")
    with pytest.raises(InputFileError, match=r"cannot be opened|no file"):
        read_scan(tmp_path / ("x" * 5000))
    with pytest.raises(UsageError, match="not by int"):
        read_scan(7)


def test_missing(tmp_path):
    with pytest.raises(InputFileError, match=r"There is no file '.*none\.stl'"):
        file_bytes(tmp_path / "none.stl")

"""Archives: every way in which a package can be hostile."""

import io
import struct
import tracemalloc
import zipfile

import pytest

from mirrorprep.errors import InputFileError
from mirrorprep.intake.archive import Archive


def packed(entries, method=zipfile.ZIP_DEFLATED):
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", method) as archive:
        for name, data in entries:
            archive.writestr(name, data)
    return stream.getvalue()


def content(data, name):
    return b"".join(Archive(data).blocks(name))


@pytest.mark.parametrize("method", [zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED])
def test_content_comes_back(method):
    data = packed([("3D/A.model", b"abc" * 1000)], method)
    assert content(data, "3d/a.model") == b"abc" * 1000
    assert Archive(data).names == ["3d/a.model"]


@pytest.mark.parametrize("name", ["../a", "a/../../b", "/etc/a", "\\a", "a\\..\\b", "c:a", "c:/a"])
def test_names_that_lead_out_are_refused(name):
    with pytest.raises(InputFileError, match="leads out of it"):
        Archive(packed([(name, b"")]))


def test_bomb_is_refused_by_its_ratio():
    """50 MB of zeros in 50 kB: a ratio near 1000."""
    with pytest.raises(InputFileError, match=r"unfolds \d{3,4} times its packed size \(limit 100\)"):
        content(packed([("a", b"\0" * 50_000_000)]), "a")


def patched(data, *, size):
    """Return the archive with another declared size in both places that state it."""
    local, central = data.index(b"PK\x03\x04"), data.index(b"PK\x01\x02")
    data = data[: local + 22] + struct.pack("<I", size) + data[local + 26 :]
    return data[: central + 24] + struct.pack("<I", size) + data[central + 28 :]


def test_bomb_with_a_false_size_does_not_unfold_further():
    data = patched(packed([("a", b"\0" * 50_000_000)]), size=1000)
    tracemalloc.start()
    with pytest.raises(InputFileError, match="damaged"):
        content(data, "a")
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 5_000_000


def test_absurd_size_is_refused():
    with pytest.raises(InputFileError, match="unfolds to 4294967294 bytes"):
        content(patched(packed([("a", b"abc")]), size=2**32 - 2), "a")


def test_total_is_counted_over_all_parts(monkeypatch):
    monkeypatch.setattr("mirrorprep.intake.archive.MAX_FILE_BYTES", 1500)
    archive = Archive(packed([("a", b"x" * 1000), ("b", b"y" * 1000)]))
    assert len(b"".join(archive.blocks("a"))) == 1000
    with pytest.raises(InputFileError, match="more than 1500 bytes"):
        list(archive.blocks("b"))


def test_same_name_twice_is_refused():
    with pytest.warns(UserWarning, match="Duplicate"):
        data = packed([("a", b"1"), ("a", b"2")])
    with pytest.raises(InputFileError, match="'a' twice"):
        Archive(data)


def test_same_name_in_other_case_is_refused():
    with pytest.raises(InputFileError, match="'a' twice"):
        Archive(packed([("a", b"1"), ("A", b"2")]))


def test_encrypted_entry_is_refused():
    data = bytearray(packed([("a", b"123")]))
    data[data.index(b"PK\x01\x02") + 8] |= 1
    with pytest.raises(InputFileError, match="encrypted"):
        content(bytes(data), "a")


def test_other_compression_is_refused():
    with pytest.raises(InputFileError, match="method 12"):
        content(packed([("a", b"123" * 100)], zipfile.ZIP_BZIP2), "a")


def test_huge_table_of_contents_is_refused_unread():
    data = packed([("a", b"")])
    end = data.index(b"PK\x05\x06")
    with pytest.raises(InputFileError, match="table of contents takes 4294967295"):
        Archive(data[: end + 12] + b"\xff" * 4 + data[end + 16 :])


@pytest.mark.parametrize("keep", [10, 60, -1, -30])
def test_cut_archives(keep):
    with pytest.raises(InputFileError, match="table of contents"):
        Archive(packed([("a", b"123" * 100)])[:keep])


def test_damaged_content():
    data = bytearray(packed([("a", bytes(range(256)) * 100)]))
    data[60:90] = b"\xff" * 30
    with pytest.raises(InputFileError, match="'a' of the archive is damaged"):
        content(bytes(data), "a")


def test_missing_part():
    with pytest.raises(InputFileError, match="lacks the part 'b'"):
        content(packed([("a", b"")]), "b")

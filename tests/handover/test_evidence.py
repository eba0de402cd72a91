"""Evidence rechecked: each fault is really put in."""

import json
import zipfile

import pytest
from handover_sheets import small_data

from mirrorprep.errors import InputFileError
from mirrorprep.handover.evidence import (
    findings_of,
    read_record,
    recheck_digests,
    recheck_extra,
    recheck_formats,
    recheck_page,
    recheck_record,
)
from mirrorprep.handover.files import NamedPart, write_3mf, write_stl
from mirrorprep.handover.provenance import write_digests
from mirrorprep.handover.traveller import file_entry, write_traveller
from mirrorprep.solid.primitives import box


@pytest.fixture
def folder(tmp_path):
    write_stl(box([1, 2, 3]), tmp_path / "half_a.stl")
    write_3mf([NamedPart(name="half_a", mesh=box([1, 2, 3]))], tmp_path / "mould.3mf")
    files = (
        file_entry(tmp_path / "half_a.stl", "the scan", role="input", name="scan"),
        file_entry(tmp_path / "half_a.stl", "upper half"),
        file_entry(tmp_path / "mould.3mf", "both halves"),
    )
    write_traveller(small_data(files=files), tmp_path)
    write_digests(tmp_path, [path.name for path in tmp_path.iterdir()])
    return tmp_path


def all_checks(folder):
    return (
        *recheck_record(folder, read_record(folder)),
        *recheck_digests(folder),
        *recheck_formats(folder),
        recheck_extra(folder),
        recheck_page(folder, read_record(folder)),
    )


def failing(folder):
    return {check.claim for check in all_checks(folder) if not check.holds}


def test_an_untouched_folder_holds(folder):
    assert failing(folder) == set()
    assert len(all_checks(folder)) == 2 + 5 + 2 + 2
    assert findings_of(all_checks(folder)) == ()


def test_one_changed_byte_is_found(folder):
    data = bytearray((folder / "half_a.stl").read_bytes())
    data[100] ^= 1
    (folder / "half_a.stl").write_bytes(data)
    assert failing(folder) == {"half_a.stl is unchanged"}
    findings = findings_of(all_checks(folder))
    assert {finding.code for finding in findings} == {"evidence-does-not-hold"}
    assert all(str(finding.severity) == "stop" for finding in findings)


def test_a_truncated_stl_and_a_missing_package_are_found(folder):
    data = (folder / "half_a.stl").read_bytes()
    (folder / "half_a.stl").write_bytes(data[:-10])
    (folder / "mould.3mf").unlink()
    assert failing(folder) == {
        "half_a.stl is unchanged",
        "half_a.stl is a whole binary STL file",
        "mould.3mf is unchanged",
    }


def test_a_text_stl_is_found(folder):
    (folder / "other.stl").write_bytes(b"solid x".ljust(84, b"\0"))
    assert "other.stl is a whole binary STL file" in failing(folder)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [(b"millimeter", b"inch", "other unit"), (b"For research", b"For everything", "no caution")],
)
def test_another_unit_and_a_missing_caution_are_found(folder, old, new, words):
    with zipfile.ZipFile(folder / "mould.3mf") as package:
        model = package.read("3D/3dmodel.model")
    with zipfile.ZipFile(folder / "mould.3mf", "w") as package:
        package.writestr("3D/3dmodel.model", model.replace(old, new))
    check = recheck_formats(folder)[-1]
    assert check.holds is False
    assert check.measured == words


def test_a_package_that_is_no_package_is_found(folder):
    (folder / "mould.3mf").write_bytes(b"nothing")
    assert recheck_formats(folder)[-1].measured == "BadZipFile"


def test_records_that_cannot_be_used(folder, tmp_path_factory):
    empty = tmp_path_factory.mktemp("empty")
    with pytest.raises(InputFileError, match="cannot be read"):
        read_record(empty)
    with pytest.raises(InputFileError, match="cannot be read"):
        recheck_digests(empty)
    for text, words in (
        ("{", "is not JSON"),
        ("[]", "no traveller"),
        ('{"format": "other"}', "no traveller"),
    ):
        (empty / "traveller.json").write_text(text)
        with pytest.raises(InputFileError, match=words):
            read_record(empty)
    (empty / "SHA256SUMS").write_text("no digest\n")
    with pytest.raises(InputFileError, match="Line 1"):
        recheck_digests(empty)


def test_a_record_that_points_outside_the_folder_does_not_hold(folder):
    record = json.loads((folder / "traveller.json").read_text())
    record["files"][1]["name"] = "../half_a.stl"
    assert [check.holds for check in recheck_record(folder, record)] == [False, True]

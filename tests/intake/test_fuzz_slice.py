"""A seeded slice of the fuzz campaign, in this process."""

import pytest


@pytest.mark.parametrize("part", range(8))
def test_every_damaged_file_ends_in_a_mesh_or_a_clear_error(fuzz, tmp_path, part):
    bases = fuzz.samples()
    endings = [fuzz.run_case(fuzz.make_case(bases, 4, index), tmp_path)[0] for index in range(part, 800, 8)]
    assert {"mesh", "InputFileError"} <= set(endings)


def test_undamaged_files_all_read(fuzz, tmp_path):
    for name, data in fuzz.samples().items():
        assert fuzz.run_case((name, data, None, None), tmp_path)[0] == "mesh"


def test_cases_come_from_their_number_alone(fuzz):
    bases = fuzz.samples()
    assert fuzz.make_case(bases, 4, 17) == fuzz.make_case(bases, 4, 17)
    assert fuzz.make_case(bases, 4, 17)[1] != fuzz.make_case(bases, 5, 17)[1]


def test_faults_are_noticed(fuzz, tmp_path, monkeypatch):
    """The campaign's own judge, fed a reader that misbehaves."""
    case = ("a.obj", b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n", None, None)

    def leaves_a_file(path, unit, weld_mm):
        (path.parent / "left").write_bytes(b"")
        return fuzz_read(path, unit, weld_mm=weld_mm)

    fuzz_read = fuzz.read_scan
    monkeypatch.setattr(fuzz, "read_scan", leaves_a_file)
    with pytest.raises(AssertionError, match="left behind"):
        fuzz.run_case(case, tmp_path)
    (tmp_path / "left").unlink()

    def crashes(path, unit, weld_mm):
        raise KeyError("x")

    monkeypatch.setattr(fuzz, "read_scan", crashes)
    with pytest.raises(KeyError):
        fuzz.run_case(case, tmp_path)

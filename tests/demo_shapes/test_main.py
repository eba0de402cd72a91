"""The command that writes the shapes."""

import pytest

from demo_shapes.__main__ import main
from mirrorprep.intake.read import read_scan
from mirrorprep.solid.certify import examine


def test_everything_is_written_once(tmp_path, capsys):
    folder = tmp_path / "shapes"
    assert main([str(folder), "--detail", "small"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert "research, teaching and demonstration only" in lines[0]
    files = sorted(file.name for file in folder.iterdir())
    assert len(lines) == 1 + len(files)
    assert {"head.ply", "ear.ply", "animal.ply", "sphere.stl", "head-raw.ply", "true_values.json"} <= set(
        files
    )
    assert examine(read_scan(folder / "ear.ply", units="mm")).solid
    assert examine(read_scan(folder / "ear-holes.ply", units="mm")).open_edges > 0

    assert main([str(folder), "--detail", "small"]) == 7
    refusal = capsys.readouterr()
    assert refusal.err.count("\n") == 1
    assert "exists already" in refusal.err
    assert sorted(file.name for file in folder.iterdir()) == files


def test_shipped_files(tmp_path, capsys):
    assert main([str(tmp_path), "--shipped"]) == 0
    assert sorted(file.name for file in tmp_path.iterdir()) == [
        "animal-small.ply",
        "ear-small.ply",
        "head-small.ply",
        "true_values.json",
    ]
    assert main([str(tmp_path), "--shipped", "--overwrite"]) == 0
    assert capsys.readouterr().err == ""


def test_a_file_in_the_way_is_named(tmp_path, capsys):
    blocked = tmp_path / "file"
    blocked.write_text("")
    assert main([str(blocked)]) == 7
    assert "is not a folder" in capsys.readouterr().err


def test_help_and_usage(capsys):
    with pytest.raises(SystemExit) as stop:
        main(["--help"])
    assert stop.value.code == 0
    with pytest.raises(SystemExit) as stop:
        main([])
    assert stop.value.code == 2
    capsys.readouterr()

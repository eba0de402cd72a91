"""The pictures of the README."""

from pathlib import Path

import pytest

import demo_shapes
from demo_shapes.pictures import write_pictures
from mirrorprep.handover.display import drawing_finding

FOLDER = Path(demo_shapes.__file__).parent


def test_readme_shows_small_pictures():
    readme = (FOLDER / "README.md").read_text(encoding="utf-8")
    for name in ("head.png", "animal.png"):
        assert f"]({name})" in readme
        assert (FOLDER / name).stat().st_size <= 200_000


def test_pictures_are_drawn(tmp_path):
    if drawing_finding() is not None:
        pytest.skip("no drawing here")
    for path in write_pictures(tmp_path, detail="small"):
        assert path.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"
        assert path.stat().st_size > 20_000

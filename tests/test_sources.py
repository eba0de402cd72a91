"""The method sources: complete entries that name rooms and modules which exist."""

import re
from pathlib import Path

import mirrorprep
from mirrorprep.sources import SOURCES

ROOT = Path(mirrorprep.__file__).parent
ROOMS = {path.name for path in ROOT.iterdir() if (path / "__init__.py").exists()}


def test_entries_are_complete_and_rooms_exist():
    for source in SOURCES:
        assert source.room in ROOMS, source
        assert source.method.strip()
        assert source.reference.strip()
    assert len({(source.room, source.method) for source in SOURCES}) == len(SOURCES)


def test_modules_that_are_named_exist_and_cite_what_they_use():
    """A paper with its year stands in the module that an entry names, by its first author."""
    named = [(source, re.findall(r"\(([a-z]+/[a-z_]+)\)", source.method)) for source in SOURCES]
    assert sum(bool(modules) for _, modules in named) >= 10
    for source, modules in named:
        for module in modules:
            text = (ROOT / f"{module}.py").read_text(encoding="utf-8")
            author = re.match(r"(?:[A-Z]\. )+([A-Z]\w+)", source.reference)
            assert author is None or author[1].casefold() in text.casefold(), source

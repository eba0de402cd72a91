"""Files of the page and of the handover: only those, and never a path that leads elsewhere."""

import pytest

from mirrorprep.bench.file_answers import PAGE
from mirrorprep.bench.kinds import disposition, ending, kind_of, media_type


def test_the_page_and_its_files(page):
    answer = page.get("")
    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith("text/html")
    for file in sorted(PAGE.rglob("*")):
        if file.is_file():
            name = file.relative_to(PAGE).as_posix()
            sent = page.get(f"assets/{name}")
            assert (sent.status_code, sent.content) == (200, file.read_bytes())
            assert sent.headers["content-type"] == media_type(name)


@pytest.mark.parametrize(
    "name",
    [
        "..%2fapi.py",
        "%2e%2e/api.py",
        "vendor/..%2f..%2fguard.py",
        "..%5capi.py",
        "/etc/passwd",
        "%2fetc%2fpasswd",
        "x%00",
        "",
    ],
)
def test_nothing_beside_the_page(page, name):
    answer = page.get(f"assets/{name}")
    assert answer.status_code in (404, 307)
    assert "import" not in answer.text


@pytest.mark.parametrize("name", ["job.toml", "..%2fjob.toml", "traveller.html", ".bench.lock", "x"])
def test_only_what_was_handed_over(page, name):
    (page.desk.files.folder / "handover").mkdir()
    (page.desk.files.folder / "handover" / "traveller.html").write_text("an old one")
    assert page.get(f"out/{name}").status_code == 404


def test_kinds():
    assert (ending("A.STL"), ending(".stl"), ending("none")) == (".stl", "", "")
    assert (kind_of("mould.3mf"), kind_of("SHA256SUMS")) == ("3mf", "text")
    assert media_type("x.js").startswith("text/javascript")
    assert media_type("x.unknown") == "application/octet-stream"
    assert disposition("traveller.html").startswith("inline")
    assert disposition("half_a.stl") == 'attachment; filename="half_a.stl"'

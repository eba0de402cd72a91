"""The registry: content first, extension second."""

import pytest

import mirrorprep.intake.read  # noqa: F401 - registers the formats
from mirrorprep.errors import InputFileError
from mirrorprep.intake.registry import FORMATS, choose, known_suffixes

NAMES = {
    "binary.stl": "stl", "solid.stl": "stl", "ascii.stl": "stl", "two.stl": "stl", "ascii.ply": "ply",
    "little.ply": "ply", "big.ply": "ply", "mixed.ply": "ply", "mixed_ascii.ply": "ply", "strips.ply": "ply",
    "plain.obj": "obj", "rich.obj": "obj", "wide.obj": "obj", "plain.off": "off", "color.off": "off",
    "binary.off": "off", "plain.glb": "glb", "moved.glb": "glb", "plain.3mf": "3mf", "inch.3mf": "3mf",
}  # fmt: skip


def test_every_format_registers_itself():
    assert sorted(FORMATS) == ["3mf", "glb", "obj", "off", "ply", "stl"]
    assert known_suffixes() == ".3mf, .coff, .glb, .obj, .off, .ply, .stl"


@pytest.mark.parametrize("name", NAMES)
def test_content_decides_alone(samples, name):
    data = samples.every_format()[name]
    entry, findings = choose(data, "")
    assert (entry.name, findings) == (NAMES[name], ())
    assert [e.name for e in FORMATS.values() if e.recognises(data)] == [NAMES[name]]


@pytest.mark.parametrize("name", NAMES)
def test_wrong_extension_is_a_caution(samples, read, codes, name):
    wrong = "a.ply" if NAMES[name] != "ply" else "a.STL"
    mesh = read(samples.every_format()[name], wrong)
    assert mesh.origin.format == NAMES[name]
    assert "extension-mismatch" in codes(mesh)


@pytest.mark.parametrize(
    ("data", "suffix", "words"),
    [
        (b"\x1f\x8b\x08" + b"\0" * 50, ".stl", "a gzip archive"),
        (b"\x89PNG\r\n\x1a\n" + b"\0" * 50, ".obj", "a PNG picture"),
        (b"<!DOCTYPE html><html>", ".stl", "a web page"),
        (b"version https://git-lfs.github.com/spec/v1\noid", ".ply", "was not downloaded"),
        (b"ASTM-E57" + b"\0" * 50, ".e57", "an E57 point cloud"),
        (b"ISO-10303-21;", ".stp", "a STEP model"),
        (b"PK\x03\x04" + b"\0" * 50, ".zip", "unpack it first"),
        (b'{"asset": {}}', ".gltf", "packed as GLB"),
        (b"MeshVersionFormatted 1", ".mesh", "finite-element mesh"),
        (b"1 2 3\n4 5 6\n", ".xyz", "of no known format"),
        (b"\0" * 70, ".bin", "of no known format.*one of .3mf, .coff"),
    ],
)
def test_other_content_is_named(data, suffix, words):
    with pytest.raises(InputFileError, match=words):
        choose(data, suffix)


def test_extension_is_trusted_when_content_is_unclear():
    assert choose(b"\0" * 200, ".stl")[0].name == "stl"


@pytest.mark.parametrize("size", [0, 1, 3, 4, 12, 83, 84])
def test_recognising_never_raises(size):
    for filler in (b"\0", b"\xff", b"s", b"PK\x03\x04", b"\xff\xfe\x00\xd8", b"glTF", b"OFF"):
        for entry in FORMATS.values():
            assert entry.recognises((filler * 84)[:size]) in (True, False)

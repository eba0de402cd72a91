"""The digest, against the published test vector."""

from mirrorprep.intake.identity import sha256_of


def test_vector():
    """FIPS 180-4 example: the message 'abc'."""
    assert sha256_of(b"abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_origin_carries_it(read):
    data = b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n"
    assert read(data, "a.obj").origin.sha256 == sha256_of(data)

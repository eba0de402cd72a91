"""XML streams: entities, document types, depth and endless text."""

import itertools

import pytest

from mirrorprep.errors import InputFileError
from mirrorprep.intake.xml_stream import stream


def names(text):
    seen = []
    prefixes = stream([text], lambda name, attributes: seen.append((name, attributes)), lambda _: None)
    return seen, prefixes


def test_namespaces_are_resolved():
    seen, prefixes = names(b'<a xmlns="urn:x" xmlns:q="urn:y"><q:b q:c="1" d="2"/></a>')
    assert seen == [("urn:x a", {}), ("urn:y b", {"urn:y c": "1", "d": "2"})]
    assert prefixes == {"": "urn:x", "q": "urn:y"}


LAUGHS = b'<!DOCTYPE a [<!ENTITY b "bbbbbbbbbb"><!ENTITY c "&b;&b;&b;&b;&b;&b;">]><a>&c;</a>'


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (LAUGHS, "document type or entities"),
        (b'<!DOCTYPE a SYSTEM "file:///etc/passwd"><a/>', "document type or entities"),
        (b"<a>&b;</a>", "damaged .undefined entity"),
        (b"<a><b></a>", "mismatched tag"),
        (b"<a>", "no element found"),
        (b"", "no element found"),
        (b'<?xml version="1.0" encoding="martian"?><a/>', "damaged"),
        (b"<a>\xff\xfe\xfa</a>", "damaged"),
        (b"<a>" * 100, "deeper than 64"),
    ],
)
def test_refusals(text, words):
    with pytest.raises(InputFileError, match=words):
        names(text)


def test_endless_text_ends():
    with pytest.raises(InputFileError, match="bytes without a tag"):
        stream(itertools.chain([b"<a>"], itertools.repeat(b" " * 2**18)), lambda *_: None, lambda _: None)

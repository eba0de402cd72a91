"""XML read as a stream of start and end tags, without document types, entities or deep nesting."""

from collections.abc import Callable, Iterable
from typing import Final
from xml.parsers import expat

from mirrorprep.intake.limits import MAX_DEPTH
from mirrorprep.intake.raw import refuse

_MAX_TAG_BYTES: Final = 2**24

Start = Callable[[str, dict[str, str]], None]
End = Callable[[str], None]


def stream(blocks: Iterable[bytes], start: Start, end: End) -> dict[str, str]:
    """Feed XML to the handlers and return the namespace that each prefix stands for.

    Names arrive as "namespace local"; text between tags is not reported.

    Raises
    ------
    InputFileError
        If the text is not well formed, declares a document type or an entity, nests deeper than
        `MAX_DEPTH` elements, or goes on for too long without a tag.
    """
    prefixes: dict[str, str] = {}
    state = {"depth": 0, "quiet": 0}

    def opened(name: str, attributes: dict[str, str]) -> None:
        state["quiet"] = 0
        state["depth"] += 1
        if state["depth"] > MAX_DEPTH:
            refuse(f"The XML inside the archive nests deeper than {MAX_DEPTH} elements.")
        start(name, attributes)

    def closed(name: str) -> None:
        state["quiet"] = 0
        state["depth"] -= 1
        end(name)

    parser = expat.ParserCreate(namespace_separator=" ")
    parser.buffer_text = False
    parser.StartElementHandler = opened
    parser.EndElementHandler = closed
    parser.StartNamespaceDeclHandler = lambda prefix, uri: prefixes.__setitem__(prefix or "", uri or "")
    parser.StartDoctypeDeclHandler = lambda *_: _refuse_doctype()
    parser.EntityDeclHandler = lambda *_: _refuse_doctype()
    try:
        for block in blocks:
            state["quiet"] += len(block)
            if state["quiet"] > _MAX_TAG_BYTES:
                refuse(f"The XML inside the archive holds {state['quiet']} bytes without a tag.")
            parser.Parse(block, False)  # noqa: FBT003 - expat takes it by position
        parser.Parse(b"", True)  # noqa: FBT003
    except (expat.ExpatError, LookupError, UnicodeError) as error:
        refuse(f"The XML inside the archive is damaged ({error}).")
    return prefixes


def _refuse_doctype() -> None:
    refuse(
        "The XML inside the archive declares a document type or entities, which the format forbids.",
        "Do not use this file; export the scan again.",
    )

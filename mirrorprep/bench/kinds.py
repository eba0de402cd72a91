"""Kinds of files that the bench sends, and how a browser is told to treat them."""

from typing import Final

_KINDS: Final = {
    ".html": "text/html; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".svg": "image/svg+xml",
    ".png": "image/png",
    ".txt": "text/plain; charset=utf-8",
    ".json": "application/json",
    ".pdf": "application/pdf",
    ".stl": "model/stl",  # RFC-registered types (IANA media types, model/)
    ".3mf": "model/3mf",
    "": "text/plain; charset=utf-8",
}
_SHOWN: Final = frozenset({".html", ".pdf", ".png"})


def ending(name: str) -> str:
    """Return the ending of a file name in lower case, with its dot."""
    stem, dot, last = name.rpartition(".")
    return f".{last.lower()}" if dot and stem else ""


def kind_of(name: str) -> str:
    """Return what an output is, in one word: html, pdf, stl ..."""
    return ending(name).removeprefix(".") or "text"


def media_type(name: str) -> str:
    """Return the media type of a file by its ending."""
    return _KINDS.get(ending(name), "application/octet-stream")


def disposition(name: str) -> str:
    """Return whether a browser shows an output or saves it."""
    return f'{"inline" if ending(name) in _SHOWN else "attachment"}; filename="{name}"'

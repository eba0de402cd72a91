"""Formulas for HTML pages in MathML Core (W3C), built from short words."""

from html import escape
from typing import Final

_OPERATORS: Final = set("=+−·×/≈≥≤()|∑∫√→,")


def math(*parts: str) -> str:
    """Return a formula on a line of its own."""
    return f'<math display="block">{row(*parts)}</math>'


def row(*parts: str) -> str:
    """Return parts beside each other; plain words become identifiers, numbers or operators."""
    return f"<mrow>{''.join(_piece(part) for part in parts)}</mrow>"


def frac(above: str, below: str) -> str:
    """Return a fraction."""
    return f"<mfrac>{_piece(above)}{_piece(below)}</mfrac>"


def sup(base: str, power: str) -> str:
    """Return a power."""
    return f"<msup>{_piece(base)}{_piece(power)}</msup>"


def sub(base: str, index: str) -> str:
    """Return an indexed symbol."""
    return f"<msub>{_piece(base)}<mtext>{escape(index)}</mtext></msub>"


def root(inside: str) -> str:
    """Return a square root."""
    return f"<msqrt>{_piece(inside)}</msqrt>"


def vector(name: str) -> str:
    """Return the symbol of a vector or matrix, upright and bold."""
    return f"<mi>{_bold(name)}</mi>"


def _bold(name: str) -> str:
    """Return mathematical bold letters, which need no style."""
    return "".join(
        chr(0x1D41A + ord(letter) - ord("a"))
        if letter.islower() and letter.isascii()
        else chr(0x1D400 + ord(letter) - ord("A"))
        for letter in name
    )


def _piece(part: str) -> str:
    if part.startswith("<"):
        return part
    if part == ",":
        return '<mo>,</mo><mspace width="1.2em"></mspace>'
    if part in _OPERATORS:
        return f"<mo>{escape(part)}</mo>"
    kind = "mn" if part.replace(".", "", 1).replace("−", "", 1).isdigit() else "mi"
    return f"<{kind}>{escape(part)}</{kind}>"
